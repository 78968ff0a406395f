// Forms. What is typed is kept in this tab until it is stored, so that neither a refresh nor another page loses it. A form with a
// fault has nothing to store: it leads to the field instead. When somebody else was quicker, both versions are shown side by side.
import { createContext, type ComponentChildren } from "preact";
import { signal } from "@preact/signals";
import { useContext, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
import { newRequestId } from "../api/client";
import { whole, type Draft } from "../entries";
import { useSaving } from "../saving";
import type { Labels } from "../versions";
import { Conflict } from "./conflict";
import { Failed } from "./states";

// The faults of the fields that are on the screen, by the id of their input.
export class Fields {
  readonly faults = signal<ReadonlyMap<string, { label: string; fault: string }>>(new Map());
  // True once somebody wanted to store: then empty fields that are needed say so.
  readonly tried = signal(false);

  say(id: string, label: string, fault: string) {
    this.faults.value = new Map(this.faults.value).set(id, { label, fault });
  }

  forget(id: string) {
    const rest = new Map(this.faults.value);
    if (rest.delete(id)) this.faults.value = rest;
  }

  // In the order of the page.
  list() {
    const at = (id: string) => document.getElementById(id);
    return [...this.faults.value]
      .map(([id, fault]) => ({ id, ...fault }))
      .sort((a, b) => ((at(a.id)?.compareDocumentPosition(at(b.id)!) ?? 0) & Node.DOCUMENT_POSITION_PRECEDING ? 1 : -1));
  }
}

const FieldsAround = createContext<Fields | null>(null);

// Tells the form around a field what is wrong with it, and whether an empty field should say that it is needed.
export function useFault(id: string, label: string, fault: string | undefined): boolean {
  const fields = useContext(FieldsAround);
  useLayoutEffect(() => {
    if (!fields || !fault) return;
    fields.say(id, label, fault);
    return () => fields.forget(id);
  }, [fields, id, label, fault]);
  return fields?.tried.value ?? false;
}

function leadTo(id: string) {
  const field = document.getElementById(id);
  for (let fold = field?.closest("details"); fold; fold = fold.parentElement?.closest("details")) fold.open = true;
  field?.focus();
  field?.scrollIntoView({ block: "center" });
}

interface Kept<T> {
  // What was stored when the draft was begun.
  base: T;
  draft: Draft<T>;
}

export interface FormState<T> {
  draft: Draft<T>;
  set(next: Partial<Draft<T>>): void;
  // Undefined while a field cannot be read.
  value: T | undefined;
  changed: boolean;
  // True while the draft holds what was typed before the page was left.
  restored: boolean;
  // What somebody else stored meanwhile.
  theirs: T | undefined;
  base: T;
  // Goes on with a draft on the ground of what somebody else stored.
  settle(draft: Draft<T>): void;
  // Forgets the draft.
  drop(): void;
}

function same(a: unknown, b: unknown): boolean {
  return JSON.stringify(a) === JSON.stringify(b);
}

function keptDraft<T>(key: string): Kept<T> | null {
  try {
    return JSON.parse(sessionStorage.getItem(key) ?? "null") as Kept<T> | null;
  } catch {
    return null;
  }
}

// Puts a draft where the form of this key will find it.
export function keepDraft<T>(key: string, base: T, draft: Draft<T>) {
  sessionStorage.setItem(key, JSON.stringify({ base, draft }));
}

// The state of a form over what is stored, or over a blank. What is stored may carry an etag.
export function useForm<T extends { etag?: string }>(key: string, stored: T): FormState<T> {
  const blank = { base: stored, draft: stored as Draft<T> };
  const [kept, setKept] = useState<Kept<T>>(() => keptDraft<T>(key) ?? blank);
  const [restored, setRestored] = useState(() => !same(kept.draft, kept.base));
  const changed = !same(kept.draft, kept.base);
  const outdated = kept.base.etag !== stored.etag;
  // Whoever has typed nothing sees what is stored.
  const now = outdated && !changed ? blank : kept;
  useLayoutEffect(() => {
    if (changed) keepDraft(key, kept.base, kept.draft);
    else sessionStorage.removeItem(key);
  }, [key, kept, changed]);
  return {
    draft: now.draft,
    base: now.base,
    set: (next) =>
      setKept((before) => {
        const from = before.base.etag !== stored.etag && same(before.draft, before.base) ? blank : before;
        return { base: from.base, draft: { ...from.draft, ...next } };
      }),
    value: whole<T>(now.draft),
    changed,
    restored: restored && changed,
    theirs: outdated && changed ? stored : undefined,
    settle: (draft) => setKept({ base: stored, draft }),
    drop: () => {
      sessionStorage.removeItem(key);
      setKept(blank);
      setRestored(false);
    },
  };
}

export interface FormProps<T> {
  form: FormState<T>;
  // What the button says.
  submit: string;
  // Called with a value only: a draft with a fault has none. The id stays the same while the same value is tried again.
  onStore(value: T, requestId: string): Promise<unknown>;
  // Asks about a value that is probably not meant, and gives the value that is; undefined where somebody goes back.
  sure?: (value: T) => Promise<T | undefined>;
  done?: string;
  labels?: Labels;
  // False: a form of minor weight.
  main?: boolean;
  // Further buttons.
  more?: ComponentChildren;
  disabled?: boolean;
  children: ComponentChildren;
}

export function Form<T extends { etag?: string }>({ form, submit, onStore, sure, done, labels, main = true, more, disabled, children }: FormProps<T>) {
  const fields = useMemo(() => new Fields(), []);
  const saving = useSaving();
  const [busy, setBusy] = useState(false);
  const under = useRef({ busy: false, sent: "", requestId: "" });

  const store = async () => {
    const faults = fields.list();
    if (form.value === undefined || faults.length > 0) {
      fields.tried.value = true;
      if (faults[0]) leadTo(faults[0].id);
      return;
    }
    if (under.current.busy || form.theirs) return;
    under.current.busy = true;
    setBusy(true);
    try {
      const value = sure ? await sure(form.value) : form.value;
      if (value === undefined) return;
      const text = JSON.stringify(value);
      if (under.current.sent !== text) under.current = { busy: true, sent: text, requestId: newRequestId() };
      await saving.run(async () => {
        await onStore(value, under.current.requestId);
        under.current.sent = "";
        fields.tried.value = false;
        form.drop();
      }, done);
    } finally {
      under.current.busy = false;
      setBusy(false);
    }
  };

  return (
    <FieldsAround.Provider value={fields}>
      <form
        class="stack"
        noValidate
        onSubmit={(e) => {
          e.preventDefault();
          void store();
        }}
      >
        {form.theirs && !busy && <Conflict base={form.base} mine={form.draft} theirs={form.theirs} labels={labels ?? {}} onSettle={form.settle} />}
        {children}
        {form.restored && !form.theirs && <p class="hint">Not stored yet: this is what you had typed.</p>}
        <p class="row">
          <button type="submit" class={main ? "main" : ""} disabled={busy || disabled || form.theirs !== undefined}>
            {submit}
          </button>
          {form.changed && !busy && (
            <button type="button" class="plain" onClick={form.drop}>
              Undo changes
            </button>
          )}
          {more}
        </p>
        <Faults fields={fields} />
        {saving.problem && !(saving.problem.outdated && form.theirs) && <Failed problem={saving.problem} />}
      </form>
    </FieldsAround.Provider>
  );
}

// What stands in the way of storing, each with the way to its field.
function Faults({ fields }: { fields: Fields }) {
  if (!fields.tried.value || fields.faults.value.size === 0) return null;
  return (
    <div class="failed" role="alert">
      <p class="title-line">
        <strong>Nothing was stored</strong>
      </p>
      <ul>
        {fields.list().map((f) => (
          <li key={f.id}>
            <button type="button" class="plain" onClick={() => leadTo(f.id)}>
              {f.label}
            </button>{" "}
            {f.fault}
          </li>
        ))}
      </ul>
    </div>
  );
}
