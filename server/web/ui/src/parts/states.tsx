// What a page says while it waits, when there is nothing yet, and when something went wrong.
import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { keyWanted } from "../api/client";
import type { Problem } from "../api/problem";
import type { Caution } from "../api/types";
import type { Loaded } from "../lists";
import { fieldWords, withoutPaths } from "../paths";

export function Waiting({ what }: { what: string }) {
  return (
    <p class="waiting" role="status">
      <span class="wait-mark" aria-hidden="true" />
      {what}
    </p>
  );
}

export function Empty({ title, children }: { title: string; children?: ComponentChildren }) {
  return (
    <div class="empty">
      <p>
        <strong>{title}</strong>
      </p>
      {children}
    </div>
  );
}

// A table that may be wider than the screen: it scrolls by itself, by keys too.
export function Scrolled({ label, children }: { label: string; children: ComponentChildren }) {
  return (
    <div class="scrolled" tabIndex={0} role="region" aria-label={label}>
      {children}
    </div>
  );
}

function titleOf({ status, outdated }: Problem): string {
  if (outdated) return "Changed meanwhile";
  if (status === 0) return "No answer";
  if (status === 403) return "Not allowed with this key";
  if (status === 404) return "Not found";
  if (status === 429) return "The server is busy";
  if (status >= 500) return "The server is in trouble";
  return "That cannot be done";
}

function sentenceCase(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

export function Failed({ problem, onRetry }: { problem: Problem; onRetry?: () => void }) {
  if (problem.status === 401 && keyWanted.value) return <p class="hint">Waiting for a key.</p>;
  const title = titleOf(problem);
  return (
    <div class="failed" role="alert">
      <p class="title-line">
        <strong>{title}</strong>
      </p>
      <p>{sentenceCase(withoutPaths(problem.message, problem.fields.map((f) => f.field)))}</p>
      {problem.fields.length > 1 && (
        <ul>
          {problem.fields.map((f) => (
            <li key={f.field + f.description}>
              <strong>{sentenceCase(fieldWords(f.field))}</strong> {withoutPaths(f.description, [f.field])}
            </li>
          ))}
          {problem.more > 0 && <li>{problem.more} more</li>}
        </ul>
      )}
      {onRetry && (
        <button type="button" onClick={onRetry}>
          Try again
        </button>
      )}
    </div>
  );
}

export function When<T>(props: { loaded: Loaded<T>; what: string; onRetry?: () => void; children: (value: T) => ComponentChildren }) {
  const { loaded } = props;
  if (loaded.state === "loading") return <Waiting what={props.what} />;
  if (loaded.state === "failed") return <Failed problem={loaded.problem} onRetry={props.onRetry} />;
  return <>{props.children(loaded.value)}</>;
}

export function Cautions({ cautions }: { cautions: Caution[] | undefined }) {
  const [all, setAll] = useState(false);
  if (!cautions || cautions.length === 0) return null;
  const folded = !all && cautions.length > 3;
  return (
    <section class={folded ? "cautions folded" : "cautions"} aria-label="Cautions">
      <h3>Take care</h3>
      <ul>
        {cautions.map((c) => (
          <li key={c.code}>{c.text}</li>
        ))}
      </ul>
      {folded && (
        <button type="button" class="plain" onClick={() => setAll(true)}>
          {cautions.length - 2} more cautions
        </button>
      )}
    </section>
  );
}

export function Panel(props: { title: string; aside?: ComponentChildren; children: ComponentChildren; class?: string; id?: string; style?: { [variable: string]: number } }) {
  return (
    <section class={"panel " + (props.class ?? "")} style={props.style} id={props.id} aria-label={props.title}>
      <header>
        <h2>{props.title}</h2>
        {props.aside}
      </header>
      {props.children}
    </section>
  );
}
