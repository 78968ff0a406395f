// The frame around the pages: which studio, which page, what is still waiting to be sent, and a key where one is asked for.
import { effect } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import { forgetKey, hasKey, keptAnswers, keyWanted, useKey } from "./api/client";
import { damaged, studios } from "./lists";
import { pendingCount } from "./logging";
import { idOf } from "./names";
import { lastStudio, theme, unit, type Theme } from "./preferences";
import { address, go, pages, route, type Page } from "./route";
import { lastDone } from "./saving";
import type { LengthUnit } from "./units";
import { AskDialog } from "./parts/ask";
import { TextField } from "./parts/fields";
import { Empty, When } from "./parts/states";
import { FiringsPage } from "./pages/firings";
import { GlazesPage } from "./pages/glazes";
import { RecordPage } from "./pages/record";
import { ScorePage } from "./pages/score";
import { SheetPage } from "./pages/sheet";
import { ShelfPage } from "./pages/shelf";
import { NewStudio, StudioPage } from "./pages/studio";
import { TilesPage } from "./pages/tiles";
import { WaresPage } from "./pages/wares";

const titles: { [page in Page]: string } = {
  score: "Score",
  sheet: "Sheet",
  tiles: "Tiles",
  shelf: "Shelf",
  record: "Record",
  glazes: "Glazes",
  firings: "Firings",
  wares: "Wares",
  studio: "Studio",
};

const bodies: { [page in Page]: (props: { studio: string }) => preact.JSX.Element } = {
  score: ScorePage,
  sheet: SheetPage,
  tiles: TilesPage,
  shelf: ShelfPage,
  record: RecordPage,
  glazes: GlazesPage,
  firings: FiringsPage,
  wares: WaresPage,
  studio: StudioPage,
};

const shades: { [theme in Theme]: { word: string; next: Theme; path: string } } = {
  system: { word: "as the system", next: "light", path: "M10 2a8 8 0 0 1 0 16z" },
  light: { word: "light", next: "dark", path: "M10 7a3 3 0 1 0 .01 0z" },
  dark: { word: "dark", next: "system", path: "M10 2a8 8 0 1 0 .01 0z" },
};

effect(() => {
  const { page, studio } = route.value;
  document.title = page ? `${titles[page]} · ${studio} · catchline` : "catchline";
  if (studio) lastStudio.value = studio;
});

export function App() {
  const { studio, page, unknown } = route.value;
  const Body = page ? bodies[page] : null;
  const nav = useRef<HTMLElement>(null);
  useEffect(() => {
    nav.current?.querySelector("[aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
  }, [page]);
  return (
    <>
      <a class="skip" href="#main">
        To the page
      </a>
      <Head />
      {studio && page && (
        <nav class="pages" aria-label="Pages" ref={nav}>
          <ul>
            {pages.map((p) => (
              <li key={p}>
                <a href={address(studio, p)} aria-current={p === page ? "page" : undefined}>
                  {titles[p]}
                </a>
              </li>
            ))}
          </ul>
        </nav>
      )}
      <Invented />
      <Damaged />
      <p class={keptAnswers.value ? "invented" : "unseen"} role="status">
        {keptAnswers.value && "The server is not reached: this is what this browser kept. Tiles can be logged; they are sent later."}
      </p>
      <main id="main" tabIndex={-1}>{unknown ? <NoPage studio={studio} /> : Body && studio ? <Body key={studio + page} studio={studio} /> : <Door />}</main>
      <p class={lastDone.value ? "done" : "done unseen"} role="status">
        {lastDone.value}
      </p>
      <KeyEntry />
      <AskDialog />
    </>
  );
}

function Head() {
  const { studio, page } = route.value;
  const loaded = studios("").value;
  const all = loaded.state === "ready" ? loaded.value : [];
  return (
    <header class="head">
      <a class="mark" href="/">
        <svg viewBox="0 0 32 32" width="28" height="28" aria-hidden="true">
          <path d="M3 6h26v3c-3 0-4 1-4 4v4a2.5 2.5 0 0 1-5 0v-3c0-3-3-3-3 0v7a3 3 0 0 1-6 0v-8c0-3-2-4-8-4z" fill="currentColor" />
          <path d="M3 27h26" stroke="currentColor" stroke-width="2.5" stroke-linecap="round" />
        </svg>
        <span>catchline</span>
      </a>
      {studio && (
        <select aria-label="Studio" value={studio} onChange={(e) => go(address(e.currentTarget.value, page || "score"))}>
          {!all.some((s) => idOf(s.name) === studio) && <option value={studio}>{studio}</option>}
          {all.map((s) => (
            <option key={s.name} value={idOf(s.name)}>
              {s.displayName}
            </option>
          ))}
        </select>
      )}
      <span class="spacer" />
      <span role="status">
        {studio && pendingCount.value > 0 && (
          <a class="waits" href={address(studio, "tiles")}>
            <span aria-hidden="true">◔</span> {pendingCount.value} {pendingCount.value === 1 ? "tile" : "tiles"} waiting
          </a>
        )}
      </span>
      <select aria-label="Unit of length" value={unit.value} onChange={(e) => (unit.value = e.currentTarget.value as LengthUnit)}>
        <option value="mm">mm</option>
        <option value="in">in</option>
      </select>
      <button
        type="button"
        class="shade"
        aria-label={`Light or dark: ${shades[theme.value].word}; press for ${shades[shades[theme.value].next].word}`}
        title={shades[theme.value].word}
        onClick={() => (theme.value = shades[theme.value].next)}
      >
        <svg viewBox="0 0 20 20" width="20" height="20" aria-hidden="true">
          <circle cx="10" cy="10" r="8" fill="none" stroke="currentColor" stroke-width="2" />
          <path d={shades[theme.value].path} fill="currentColor" />
        </svg>
      </button>
      {hasKey() && (
        <button type="button" class="plain" onClick={forgetKey}>
          Forget the key
        </button>
      )}
    </header>
  );
}

function Invented() {
  const { studio } = route.value;
  const loaded = studios("").value;
  const made = loaded.state === "ready" && loaded.value.find((s) => idOf(s.name) === studio)?.invented;
  return made ? (
    <aside class="invented" aria-label="About this studio">
      This studio is invented: its glazes, firings and tiles show what the pages do and are nobody’s results.
    </aside>
  ) : null;
}

function Damaged() {
  const { studio } = route.value;
  const names = [...damaged.value].filter((name) => name.startsWith(`studios/${studio}/`)).map((name) => name.slice(`studios/${studio}/`.length));
  if (names.length === 0) return null;
  const named = names.slice(0, 5).join(", ") + (names.length > 5 ? ` and ${names.length - 5} more` : "");
  return (
    <aside class="invented" aria-label="Damaged records">
      {names.length === 1 ? "One record" : `${names.length} records`} of this studio can no longer be read and {names.length === 1 ? "is" : "are"} left
      out: {named}. Whoever runs the server can restore {names.length === 1 ? "it" : "them"} from a backup.
    </aside>
  );
}

function NoPage({ studio }: { studio: string }) {
  return (
    <Empty title="There is no page at this address">
      <p>The link may be cut, or the page may have another name.</p>
      <p class="row">
        <a class="button" href={studio ? address(studio, "score") : "/"}>
          {studio ? "To the score" : "To the studios"}
        </a>
      </p>
    </Empty>
  );
}

// The first page: choose a studio, or start one.
function Door() {
  const resource = studios("");
  const loaded = resource.value;
  const { studio } = route.value;
  useEffect(() => {
    if (studio) {
      go(address(studio, "score"), "replace");
      return;
    }
    if (loaded.state !== "ready") return;
    const ids = loaded.value.map((s) => idOf(s.name));
    const wanted = ids.length === 1 ? ids[0] : ids.find((id) => id === lastStudio.value);
    if (wanted && location.pathname === "/") go(address(wanted, "score"), "replace");
  }, [loaded.state, studio]);
  return (
    <div class="stack">
      <h1>Studios</h1>
      <When loaded={loaded} what="Fetching the studios" onRetry={() => resource.reload()}>
        {(all) => (
          <>
            {all.length === 0 && (
              <Empty title="No studio yet">
                <p>A studio holds your glazes, firings, wares and tiles. Nothing in it is seen by another studio.</p>
              </Empty>
            )}
            <ul class="items">
              {all.map((s) => (
                <li key={s.name}>
                  <a href={address(idOf(s.name), "score")}>
                    <span>{s.displayName}</span>
                    <small>{s.invented ? "invented" : ""}</small>
                  </a>
                </li>
              ))}
            </ul>
            <NewStudio />
          </>
        )}
      </When>
    </div>
  );
}

function KeyEntry() {
  const dialog = useRef<HTMLDialogElement>(null);
  const [secret, setSecret] = useState("");
  const wanted = keyWanted.value;
  useEffect(() => {
    if (wanted) dialog.current?.showModal();
    else dialog.current?.close();
  }, [wanted]);
  return (
    <dialog ref={dialog} aria-labelledby="key-title" onCancel={() => (keyWanted.value = false)}>
      <form
        onSubmit={(e) => {
          e.preventDefault();
          if (secret.trim()) useKey(secret);
          setSecret("");
        }}
      >
        <h2 id="key-title">This server wants a key</h2>
        <p>Whoever manages the studio can make one. It is kept in this tab only and forgotten when the tab is closed.</p>
        <TextField label="Key" type="password" value={secret} onValue={setSecret} required />
        <p class="row">
          <button type="submit" class="main">
            Use this key
          </button>
          <button type="button" onClick={() => (keyWanted.value = false)}>
            Not now
          </button>
        </p>
      </form>
    </dialog>
  );
}
