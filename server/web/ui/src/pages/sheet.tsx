// Sheet: every under glaze with every over glaze, and every one between them if there is any, in every chosen firing.
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { answer, api } from "../api/client";
import { Problem } from "../api/problem";
import { stream } from "../api/stream";
import type { Caution, Sheet, SheetFlag, SheetPlan, ScoreSheetResponse } from "../api/types";
import { csvLine, download } from "../download";
import { unreadIn, whole, type Draft as Unfinished } from "../entries";
import { bodies, firings, glazes, ready, sheets } from "../lists";
import { idOf, nameOf, optionsOf } from "../names";
import { unit } from "../preferences";
import { risks, riskRank, riskWord } from "../risk";
import { address, go, route } from "../route";
import { layerChoicesOf, layeringOf, newLayer, placementOf, questionToQuery, usualWall, wallChoiceOf, type LayerChoice, type Method, type WallChoice } from "../scoring";
import { length, lengthNumber, percent } from "../units";
import { AnyOf, Choice, NumberField, OneOf, TextField, Tick } from "../parts/fields";
import { SheetFlags } from "../parts/flags";
import { Form, useForm } from "../parts/form";
import { glazeMore } from "../parts/layers";
import { WallEditor } from "../parts/placement";
import { RankGlyph } from "../parts/risk";
import { Cautions, Empty, Failed, Panel, Scrolled, When } from "../parts/states";

interface Draft {
  under: LayerChoice[];
  between: LayerChoice[]; // none: pairs
  over: LayerChoice[];
  firings: string[];
  body: string;
  wall: WallChoice;
}

// The positions of a sheet, first applied first.
const positionsOf = (d: Draft) => (d.between.length > 0 ? [d.under, d.between, d.over] : [d.under, d.over]);

const combinationsOf = (d: Draft) => positionsOf(d).reduce((n, choices) => n * choices.length, d.firings.length);

// What came back, in columns by the index in which the firing goes round slowest and the over glaze fastest.
interface Result {
  draft: Draft;
  total: number;
  got: number;
  median: Float32Array;
  p10: Float32Array;
  p90: Float32Array;
  exceed: Float32Array;
  needed: Float32Array;
  rank: Uint8Array;
  flags: SheetFlag[];
  cautions: Caution[];
  calibration: string;
}

// More than this would not fit in a phone's memory; the command line and the interface take far more.
const MOST = 2_000_000;

function draftFromQuery(query: URLSearchParams): Draft | null {
  if (!query.has("under")) return null;
  const list = (key: string) => (query.get(key) ?? "").split(",").filter(Boolean);
  const number = (key: string, fallback: number) => {
    const n = parseFloat(query.get(key) ?? "");
    return Number.isFinite(n) ? n : fallback;
  };
  const layers = (key: string) =>
    list(key).map((glaze) => ({ ...newLayer(glaze), coats: number(key + "Coats", 2), method: (query.get(key + "How") as Method) || "BRUSH" }));
  return {
    under: layers("under"),
    between: layers("between"),
    over: layers("over"),
    firings: list("firings"),
    body: query.get("body") ?? "",
    wall: { ...usualWall, ware: query.get("ware") ?? "", angleDeg: number("angle", 90), bandMm: number("band", 60), clearanceMm: number("clearance", 30) },
  };
}

function queryOfDraft(d: Draft): URLSearchParams {
  const query = new URLSearchParams();
  for (const [key, layers] of [["under", d.under], ["between", d.between], ["over", d.over]] as const) {
    if (layers[0] || key !== "between") query.set(key, layers.map((l) => l.glaze).join(","));
    if (layers[0]) {
      query.set(key + "Coats", String(layers[0].coats));
      query.set(key + "How", layers[0].method);
    }
  }
  query.set("firings", d.firings.join(","));
  if (d.body) query.set("body", d.body);
  if (d.wall.ware) query.set("ware", d.wall.ware);
  if (d.wall.angleDeg !== 90) query.set("angle", String(d.wall.angleDeg));
  query.set("band", String(d.wall.bandMm));
  query.set("clearance", String(d.wall.clearanceMm));
  return query;
}

function draftOfSheet(sheet: Sheet): Draft | null {
  const plan = sheet.plan;
  const positions = plan?.positions ?? [];
  if (!plan || positions.length < 2 || positions.length > 3) return null;
  const choices = positions.map((p) => layerChoicesOf({ layers: p.choices }));
  return {
    under: choices[0]!,
    between: choices.length > 2 ? choices[1]! : [],
    over: choices[choices.length - 1]!,
    firings: (plan.firings ?? []).map(idOf),
    body: idOf(plan.body),
    wall: wallChoiceOf(plan.placement),
  };
}

function planOf(studio: string, d: Draft): SheetPlan {
  const plan: SheetPlan = {
    positions: positionsOf(d).map((layers) => ({ choices: layeringOf(studio, layers, "").layers ?? [] })),
    firings: d.firings.map((f) => nameOf(studio, "firings", f)),
    placement: placementOf(studio, d.wall),
  };
  if (d.body) plan.body = nameOf(studio, "bodies", d.body);
  return plan;
}

export function SheetPage({ studio }: { studio: string }) {
  const glazeList = glazes(studio);
  return (
    <>
      <div class="title">
        <h1>Sheet</h1>
        <p>Every glaze under every other, in one look</p>
      </div>
      <When loaded={glazeList.value} what="Fetching the glazes" onRetry={() => glazeList.reload()}>
        {(list) =>
          list.length === 0 ? (
            <Empty title="No glaze yet">
              <p>
                A sheet needs glazes and a firing. <a href={address(studio, "glazes", "new")}>Enter the first glaze</a>.
              </p>
            </Empty>
          ) : (
            <SheetOf studio={studio} />
          )
        }
      </When>
    </>
  );
}

function SheetOf({ studio }: { studio: string }) {
  const knownGlazes = ready(glazes(studio));
  const knownFirings = ready(firings(studio));
  const knownBodies = ready(bodies(studio));
  const stored = sheets(studio);
  const query = route.value.query;
  const openId = query.get("sheet") ?? "";
  const open = ready(stored).find((s) => idOf(s.name) === openId);

  const start = (): Draft => {
    const ids = knownGlazes.slice(0, 30).map((g) => idOf(g.name));
    return (
      draftFromQuery(query) ?? {
        under: ids.map(newLayer),
        between: [],
        over: ids.map(newLayer),
        firings: knownFirings.slice(0, 1).map((f) => idOf(f.name)),
        body: "",
        wall: usualWall,
      }
    );
  };
  const [draft, setDraft] = useState<Unfinished<Draft>>(() => start() as Unfinished<Draft>);
  const [result, setResult] = useState<Result | null>(null);
  const [problem, setProblem] = useState<Problem>();
  const [busy, setBusy] = useState(false);
  const running = useRef<AbortController | null>(null);

  useEffect(() => {
    if (knownFirings.length > 0) setDraft((before) => (before.firings.length > 0 ? before : { ...before, firings: [idOf(knownFirings[0]!.name)] }));
  }, [knownFirings.length]);
  useEffect(() => {
    const d = open && draftOfSheet(open);
    if (!d) return;
    setDraft(d as Unfinished<Draft>);
    void run(d);
  }, [open?.etag]);
  useEffect(() => {
    // A link to a sheet that is not stored is scored at once.
    const d = draftFromQuery(query);
    if (d && d.firings.length > 0 && !openId) void run(d);
    return () => running.current?.abort();
  }, []);

  // Undefined while a field cannot be read: then there is nothing to score.
  const readable = whole<Draft>(draft);
  const total = combinationsOf(draft as Draft);

  async function run(d: Draft) {
    running.current?.abort();
    const controller = new AbortController();
    running.current = controller;
    const n = combinationsOf(d);
    let next: Result = {
      draft: d,
      total: n,
      got: 0,
      median: new Float32Array(n),
      p10: new Float32Array(n),
      p90: new Float32Array(n),
      exceed: new Float32Array(n),
      needed: new Float32Array(n),
      rank: new Uint8Array(n),
      flags: [],
      cautions: [],
      calibration: "",
    };
    setProblem(undefined);
    setBusy(true);
    setResult(next);
    let shown = performance.now();
    try {
      const chunks = stream<ScoreSheetResponse>(`/v1/studios/${encodeURIComponent(studio)}:scoreSheet`, {
        method: "POST",
        body: JSON.stringify({ plan: planOf(studio, d) }),
        signal: controller.signal,
      });
      for await (const c of chunks) {
        const at = Number(c.firstIndex ?? 0);
        const count = c.medianRunMm?.length ?? 0;
        next.median.set(c.medianRunMm ?? [], at);
        next.p10.set(c.runP10Mm ?? [], at);
        next.p90.set(c.runP90Mm ?? [], at);
        next.exceed.set(c.exceedProbability ?? [], at);
        next.needed.set(c.clearanceNeededMm ?? [], at);
        c.risk?.forEach((r, k) => (next.rank[at + k] = riskRank(r)));
        next = { ...next, got: at + count };
        if (c.flags?.length) next.flags = c.flags;
        if (c.cautions?.length) next.cautions = c.cautions;
        if (c.calibration) next.calibration = c.calibration;
        if (performance.now() - shown > 100) {
          shown = performance.now();
          setResult(next);
        }
      }
      setResult(next);
    } catch (cause) {
      if (controller.signal.aborted) return;
      setProblem(cause instanceof Problem ? cause : new Problem(0, String(cause)));
    }
    setBusy(false);
  }

  const score = () => {
    if (!readable) return;
    go(address(studio, "sheet", "", queryOfDraft(readable)), "replace");
    void run(readable);
  };
  const glazeOptions = optionsOf(knownGlazes, glazeMore);
  const settings = (key: "under" | "between" | "over", label: string, hint?: string) => {
    const layers = draft[key];
    const sample: Unfinished<LayerChoice> = layers[0] ?? newLayer("");
    const all = (next: Partial<Unfinished<LayerChoice>>) => setDraft({ ...draft, [key]: layers.map((l) => ({ ...l, ...next })) });
    return (
      <>
        <AnyOf
          label={label}
          hint={hint}
          options={glazeOptions}
          values={layers.map((l) => l.glaze)}
          onValues={(ids) => setDraft({ ...draft, [key]: ids.map((glaze) => layers.find((l) => l.glaze === glaze) ?? { ...sample, glaze, lot: "" }) })}
        />
        {layers.length > 0 && (
          <div class="pair">
            <NumberField label={`Coats, ${key}`} value={sample.coats} min={0.1} max={20} step={1} required onValue={(v) => all({ coats: v! })} />
            <Choice
              label={`How, ${key}`}
              value={sample.method}
              options={[
                { value: "BRUSH", text: "Brushed" },
                { value: "DIP", text: "Dipped" },
                { value: "SPRAY", text: "Sprayed" },
                { value: "POUR", text: "Poured" },
              ]}
              onValue={(v) => all({ method: v as Method })}
            />
          </div>
        )}
      </>
    );
  };

  return (
    <>
      <details class="panel no-print" open={!result || undefined}>
        <summary>What goes on the sheet: {total.toLocaleString("en")} combinations</summary>
        <div class="twin">
          <div class="stack">{settings("under", "Under, on the wall")}</div>
          <div class="stack">{settings("over", "Over it")}</div>
        </div>
        <details open={draft.between.length > 0}>
          <summary>A layer between</summary>
          <div class="stack">{settings("between", "Between them", "A third layer, with the coats of its own. None: pairs.")}</div>
        </details>
        <div class="twin">
          <div class="stack">
            <AnyOf
              label="Firings"
              options={knownFirings.map((f) => ({ value: idOf(f.name), text: f.displayName ?? idOf(f.name) }))}
              values={draft.firings}
              onValues={(f) => setDraft({ ...draft, firings: f })}
            />
            <Choice
              label="Body"
              value={draft.body}
              empty="Not known"
              options={knownBodies.map((b) => ({ value: idOf(b.name), text: b.displayName ?? idOf(b.name) }))}
              onValue={(body) => setDraft({ ...draft, body })}
            />
          </div>
          <div class="stack">
            <WallEditor studio={studio} wall={draft.wall} onWall={(wall) => setDraft({ ...draft, wall })} />
          </div>
        </div>
      </details>
      <div class="row end no-print">
        <button type="button" class="main" disabled={!readable || total === 0 || total > MOST || busy} onClick={score}>
          Score {total.toLocaleString("en")} combinations
        </button>
        {busy && (
          <button type="button" onClick={() => { running.current?.abort(); setBusy(false); }}>
            Stop
          </button>
        )}
        <StoredSheets studio={studio} draft={readable} openId={openId} total={total} />
      </div>
      {!readable && (
        <p class="notice" role="status">
          Nothing can be scored yet: {unreadIn(draft).map((f) => (f.unread.trim() ? `“${f.unread}”: ${f.fault}` : f.fault)).join(" ")}
        </p>
      )}
      {total > MOST && <p class="notice">That is more than the page can hold ({MOST.toLocaleString("en")}). Choose fewer, or use the command line.</p>}
      {open && !draftOfSheet(open) && (
        <p class="notice">
          “{open.displayName}” has {open.plan?.positions?.length ?? 0} layers. This page shows two or three; the command line and the interface score any sheet.
        </p>
      )}
      {problem && <Failed problem={problem} onRetry={() => readable && void run(readable)} />}
      {result && (
        <>
          {busy && (
            <label class="no-print">
              {result.got.toLocaleString("en")} of {result.total.toLocaleString("en")} scored
              <progress max={result.total} value={result.got} />
            </label>
          )}
          <p class="unseen" role="status">{!busy && result.got > 0 && `${result.got} combinations scored.`}</p>
          {result.got > 0 && <Matrix studio={studio} result={result} title={open?.displayName} />}
          <SheetFlags studio={studio} flags={result.flags} />
          <Cautions cautions={result.cautions} />
        </>
      )}
    </>
  );
}

const blankSheet: { displayName: string; etag?: string } = { displayName: "" };

function StoredSheets({ studio, draft, openId, total }: { studio: string; draft: Draft | undefined; openId: string; total: number }) {
  const stored = sheets(studio);
  const form = useForm(`catchline.form.${studio}.sheet`, blankSheet);
  const [asking, setAsking] = useState(false);
  const all = ready(stored);
  return (
    <>
      {all.length > 0 && (
        <Choice
          label="Stored sheets"
          value={openId}
          empty="Open one…"
          options={all.map((s) => ({ value: idOf(s.name), text: s.displayName ?? idOf(s.name) }))}
          onValue={(id) => id && go(address(studio, "sheet", "", new URLSearchParams({ sheet: id })))}
        />
      )}
      {!asking ? (
        <button type="button" disabled={total === 0 || !draft} onClick={() => setAsking(true)}>
          Save as a sheet
        </button>
      ) : (
        <Form
          form={form}
          submit="Save sheet"
          disabled={!draft}
          onStore={async ({ displayName }, requestId) => {
            const made = await answer(
              api.POST("/v1/studios/{studio}/sheets", {
                params: { path: { studio }, query: { requestId } },
                body: { displayName: displayName.trim(), plan: planOf(studio, draft!) },
              }),
            );
            await stored.reload();
            setAsking(false);
            go(address(studio, "sheet", "", new URLSearchParams({ sheet: idOf(made.name) })));
          }}
          more={
            <button type="button" onClick={() => setAsking(false)}>
              Back
            </button>
          }
        >
          <TextField label="Name of the sheet" value={form.draft.displayName} onValue={(displayName) => form.set({ displayName })} maxLength={120} required />
        </Form>
      )}
    </>
  );
}

const ROWS = 40;
const COLUMNS = 40;

function Matrix({ studio, result, title }: { studio: string; result: Result; title: string | undefined }) {
  const { draft } = result;
  const names = useMemo(() => new Map(ready(glazes(studio)).map((g) => [idOf(g.name), g.displayName ?? idOf(g.name)])), [ready(glazes(studio)).length]);
  const firingNames = new Map(ready(firings(studio)).map((f) => [idOf(f.name), f.displayName ?? idOf(f.name)]));
  const [firing, setFiring] = useState(0);
  const [between, setBetween] = useState(0);
  const [find, setFind] = useState("");
  const [kept, setKept] = useState<boolean[]>([true, true, true, true]);
  const [asList, setAsList] = useState(matchMedia("(max-width: 40rem)").matches);
  const [rowPage, setRowPage] = useState(0);
  const [columnPage, setColumnPage] = useState(0);
  const [inList, setInList] = useState(60);
  const u = unit.value;

  const f = Math.min(firing, draft.firings.length - 1);
  const m = Math.min(between, draft.between.length - 1); // -1: pairs
  const nu = draft.under.length;
  const nm = Math.max(1, draft.between.length);
  const no = draft.over.length;
  const index = (ui: number, oi: number) => ((f * nu + ui) * nm + Math.max(0, m)) * no + oi;
  const name = (l: LayerChoice) => names.get(l.glaze) ?? l.glaze;
  const middle = m < 0 ? [] : [draft.between[m]!];
  const over = (ui: number, oi: number) => [draft.over[oi]!, ...middle, draft.under[ui]!].map(name).join(" over ");
  const wanted = find.trim().toLowerCase();
  const hit = (l: LayerChoice) => name(l).toLowerCase().includes(wanted);
  const shows = (ui: number, oi: number) => {
    const i = index(ui, oi);
    return i < result.got && kept[result.rank[i]!] && (wanted === "" || hit(draft.under[ui]!) || hit(draft.over[oi]!));
  };

  const rows: number[] = [];
  const columnHit = new Uint8Array(no);
  const counts = [0, 0, 0, 0];
  for (let ui = 0; ui < nu; ui++) {
    let any = false;
    for (let oi = 0; oi < no; oi++) {
      const i = index(ui, oi);
      if (i < result.got) counts[result.rank[i]!]!++;
      if (shows(ui, oi)) {
        any = true;
        columnHit[oi] = 1;
      }
    }
    if (any) rows.push(ui);
  }
  const columns = Array.from(columnHit.keys()).filter((oi) => columnHit[oi]);
  const rowPages = Math.max(1, Math.ceil(rows.length / ROWS));
  const columnPages = Math.max(1, Math.ceil(columns.length / COLUMNS));
  const rowsShown = rows.slice(Math.min(rowPage, rowPages - 1) * ROWS).slice(0, ROWS);
  const columnsShown = columns.slice(Math.min(columnPage, columnPages - 1) * COLUMNS).slice(0, COLUMNS);

  const link = (ui: number, oi: number) =>
    address(studio, "score", "", questionToQuery({ body: draft.body, layers: [draft.under[ui]!, ...middle, draft.over[oi]!], firing: draft.firings[f]!, wall: draft.wall, kiln: "" }));

  const saveCSV = () => {
    const parts: string[] = [csvLine(["firing", "under", ...(m < 0 ? [] : ["between"]), "over", "median_run_mm", "run_p10_mm", "run_p90_mm", "exceed_probability", "clearance_needed_mm", "risk"])];
    for (let i = 0; i < result.got; i++) {
      const oi = i % no;
      const mi = Math.floor(i / no) % nm;
      const ui = Math.floor(i / (no * nm)) % nu;
      const fi = Math.floor(i / (no * nm * nu));
      const three = (v: number) => Number(v.toFixed(3));
      parts.push(
        csvLine([
          firingNames.get(draft.firings[fi]!) ?? draft.firings[fi]!,
          name(draft.under[ui]!),
          ...draft.between.slice(mi, mi + 1).map(name),
          name(draft.over[oi]!),
          three(result.median[i]!),
          three(result.p10[i]!),
          three(result.p90[i]!),
          Number(result.exceed[i]!.toFixed(5)),
          three(result.needed[i]!),
          riskWord(risks[result.rank[i]!]).toLowerCase(),
        ]),
      );
    }
    download("sheet.csv", "text/csv", parts);
  };

  const sorted = asList
    ? rows.flatMap((ui) => columns.filter((oi) => shows(ui, oi)).map((oi) => ({ ui, oi, i: index(ui, oi) }))).sort((a, b) => result.exceed[b.i]! - result.exceed[a.i]!)
    : [];

  return (
    <Panel
      title={title ?? "Runs and risks"}
      class="sheet"
      style={{ "--columns": columnsShown.length, "--rows": rowsShown.length + 1 }}
      aside={
        <span class="row no-print">
          <button type="button" onClick={saveCSV}>
            Download CSV
          </button>
          <button type="button" onClick={() => print()}>
            Print
          </button>
        </span>
      }
    >
      <p class="only-print">
        Firing: {firingNames.get(draft.firings[f]!)}. Rows: under, {draft.under[0]?.coats} coats. {middle.map((l) => `Between: ${name(l)}, ${l.coats} coats. `)}Columns: over, {draft.over[0]?.coats} coats. Band {length(draft.wall.bandMm, u)} over{" "}
        {length(draft.wall.clearanceMm, u)} of bare wall. Median drip in {u} and chance of passing the foot. {result.calibration ? `Calibration ${idOf(result.calibration)}.` : "Physics alone."}
      </p>
      <div class="row no-print">
        {draft.firings.length > 1 && (
          <Choice label="Firing" value={String(f)} options={draft.firings.map((id, i) => ({ value: String(i), text: firingNames.get(id) ?? id }))} onValue={(v) => setFiring(Number(v))} />
        )}
        {draft.between.length > 0 && (
          <Choice label="Between" value={String(m)} options={draft.between.map((l, i) => ({ value: String(i), text: name(l) }))} onValue={(v) => setBetween(Number(v))} />
        )}
        <TextField label="Find a glaze" type="search" value={find} onValue={setFind} />
        <OneOf label="Shown as" value={asList ? "list" : "matrix"} options={[{ value: "matrix", text: "Matrix" }, { value: "list", text: "List" }]} onValue={(v) => setAsList(v === "list")} />
      </div>
      <div class="key-row" role="group" aria-label="Risks shown">
        {risks.map((r, rank) => (
          <span class="row" key={r}>
            <span class={`risk rank${rank}`}>
              <RankGlyph rank={rank} /> {riskWord(r)}
            </span>
            <span class="no-print">
              <Tick label={`${counts[rank]}`} name={`${counts[rank]} with ${riskWord(r)} risk`} value={kept[rank]!} onValue={(on) => setKept(kept.map((k, i) => (i === rank ? on : k)))} />
            </span>
          </span>
        ))}
      </div>
      {rows.length === 0 && (
        <Empty title="Nothing left">
          <p>No combination fits the filter. Show more risks or clear the search.</p>
        </Empty>
      )}
      {!asList && rows.length > 0 && (
        <>
          {(rowPages > 1 || columnPages > 1) && (
            <div class="row no-print">
              <Pager what="Rows" page={Math.min(rowPage, rowPages - 1)} pages={rowPages} onPage={setRowPage} />
              <Pager what="Columns" page={Math.min(columnPage, columnPages - 1)} pages={columnPages} onPage={setColumnPage} />
            </div>
          )}
          <Scrolled label="Matrix of under and over glazes">
            <table class="matrix">
              <thead>
                <tr>
                  <th scope="col">under ↓ over →</th>
                  {columnsShown.map((oi) => (
                    <th scope="col" key={oi}>
                      {name(draft.over[oi]!)}
                    </th>
                  ))}
                </tr>
              </thead>
              <tbody>
                {rowsShown.map((ui) => (
                  <tr key={ui}>
                    <th scope="row">{name(draft.under[ui]!)}</th>
                    {columnsShown.map((oi) => {
                      const i = index(ui, oi);
                      return (
                        <td key={oi}>
                          {shows(ui, oi) ? (
                            <a class={`rank${result.rank[i]}`} href={link(ui, oi)}>
                              <RankGlyph rank={result.rank[i]!} />
                              <span>
                                <span class="unseen">
                                  {over(ui, oi)}: {riskWord(risks[result.rank[i]!])} risk, median drip{" "}
                                </span>
                                {lengthNumber(result.median[i]!, u)}
                                <span class="unseen"> {u}, chance of passing the foot </span>
                              </span>
                              <small>{percent(result.exceed[i]!).replace("under", "<").replace("over", ">")}</small>
                            </a>
                          ) : (
                            <span class="out" />
                          )}
                        </td>
                      );
                    })}
                  </tr>
                ))}
              </tbody>
            </table>
          </Scrolled>
          <p class="hint">Each field: median drip in {u}, and the chance that it passes the foot. Choose one to score it.</p>
        </>
      )}
      {asList && (
        <>
          <ul class="items">
            {sorted.slice(0, inList).map(({ ui, oi, i }) => (
              <li key={i}>
                <a href={link(ui, oi)}>
                  <span>
                    {over(ui, oi)}
                    <br />
                    <small>
                      {length(result.median[i]!, u)} ({lengthNumber(result.p10[i]!, u)}–{lengthNumber(result.p90[i]!, u)})
                    </small>
                  </span>
                  <span class={`risk rank${result.rank[i]}`}>
                    <RankGlyph rank={result.rank[i]!} />
                    {riskWord(risks[result.rank[i]!])} {percent(result.exceed[i]!)}
                  </span>
                </a>
              </li>
            ))}
          </ul>
          {sorted.length > inList && (
            <button type="button" onClick={() => setInList(inList + 100)}>
              Show more of {sorted.length.toLocaleString("en")}
            </button>
          )}
        </>
      )}
    </Panel>
  );
}

function Pager({ what, page, pages, onPage }: { what: string; page: number; pages: number; onPage(page: number): void }) {
  if (pages <= 1) return null;
  return (
    <span class="row">
      <button type="button" disabled={page === 0} aria-label={`${what} before`} onClick={() => onPage(page - 1)}>
        ←
      </button>
      {what} {page + 1} of {pages}
      <button type="button" disabled={page === pages - 1} aria-label={`${what} after`} onClick={() => onPage(page + 1)}>
        →
      </button>
    </span>
  );
}
