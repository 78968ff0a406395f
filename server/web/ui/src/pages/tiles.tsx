// Tiles: what came out of the kiln, beside what was said beforehand.
import { useEffect, useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import { Problem } from "../api/problem";
import { stream } from "../api/stream";
import type { ImportTilesResponse, Tile } from "../api/types";
import { useAnswer } from "../asking";
import { download } from "../download";
import { firings, glazes, ready } from "../lists";
import { dropPending, pending, sendNow, taken } from "../logging";
import { idOf, nameOf } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { useSaving } from "../saving";
import { isComplete, layerChoicesOf, newLayer, questionFromQuery, questionToQuery, usualWall, wallChoiceOf, type Question } from "../scoring";
import { inReadersUnit, length, lengthNumber, percent } from "../units";
import { Choice, FileButton, TextField, Tick } from "../parts/fields";
import { LayersEditor } from "../parts/layers";
import { OutcomeForm } from "../parts/outcome";
import { WallEditor } from "../parts/placement";
import { planSentence } from "../parts/plan";
import { ReadingEditor } from "../parts/reading";
import { Empty, Failed, Panel, Scrolled, Waiting } from "../parts/states";

export function TilesPage({ studio }: { studio: string }) {
  const { item } = route.value;
  return (
    <>
      <div class="title">
        <h1>Tiles</h1>
        <p>Measured beside predicted: what the scores learn from</p>
      </div>
      {item ? (
        <OneTile studio={studio} id={item} />
      ) : (
        <div class="split">
          <div class="stack no-print">
            <LogPanel studio={studio} />
            <Exchange studio={studio} />
          </div>
          <div class="stack">
            <Waiters studio={studio} />
            <Logged studio={studio} />
          </div>
        </div>
      )}
    </>
  );
}

function LogPanel({ studio }: { studio: string }) {
  const knownGlazes = ready(glazes(studio));
  const knownFirings = ready(firings(studio));
  const [question, setQuestion] = useState<Question>(() => {
    const q = questionFromQuery(route.value.query);
    return q.layers.length > 0 ? q : { body: "", layers: [newLayer("")], firing: "", wall: usualWall, kiln: "" };
  });
  useEffect(() => {
    if (knownFirings.length > 0) setQuestion((before) => (before.firing || before.plan ? before : { ...before, firing: idOf(knownFirings[0]!.name) }));
  }, [knownFirings.length]);
  return (
    <Panel title="Log a tile" aside={isComplete(question) && <a href={address(studio, "score", "", questionToQuery(question))}>Score this layering</a>}>
      {knownGlazes.length === 0 && (
        <p class="hint">
          Tiles need a glaze: <a href={address(studio, "glazes", "new")}>enter one</a>.
        </p>
      )}
      <LayersEditor studio={studio} layers={question.layers} onLayers={(layers) => setQuestion({ ...question, layers })} />
      {question.plan && !question.firing ? (
        <p class="notice">Fired: {planSentence(question.plan)}</p>
      ) : (
        <Choice
          label="Firing"
          value={question.firing}
          options={knownFirings.map((f) => ({ value: idOf(f.name), text: f.displayName ?? idOf(f.name) }))}
          onValue={(firing) => setQuestion({ ...question, firing })}
        />
      )}
      <details>
        <summary>
          Wall: band {length(question.wall.bandMm, unit.value)} over {length(question.wall.clearanceMm, unit.value)} bare
        </summary>
        <div class="stack">
          <WallEditor studio={studio} wall={question.wall} onWall={(wall) => setQuestion({ ...question, wall })} />
        </div>
      </details>
      <OutcomeForm studio={studio} question={question} />
    </Panel>
  );
}

// Tiles that are kept here until the server has them.
function Waiters({ studio }: { studio: string }) {
  const mine = pending.value.filter((p) => p.studio === studio);
  const names = ready(glazes(studio));
  if (mine.length === 0) return null;
  return (
    <Panel title="Waiting to be sent" aside={<button type="button" onClick={sendNow}>Send now</button>}>
      <ul class="tile-list">
        {mine.map((p) => (
          <li class="tile pending" key={p.requestId}>
            <strong>{layersText(p.tile, names)}</strong>
            <span>
              Measured: {measuredText(p.tile, unit.value)} · <span class="tag">{p.refused ? "✕ refused" : "◔ pending"}</span>
            </span>
            {p.refused && <span class="fault">{p.refused}</span>}
            <span class="hint">Kept on this device since {new Date(p.loggedAt).toLocaleString()}.</span>
            {p.refused && (
              <span class="row">
                <a class="button" href={address(studio, "tiles", "", questionToQuery(questionOfTile(p.tile)))}>
                  Log it again
                </a>
                <button type="button" onClick={() => confirm("Drop this tile? It is kept nowhere else.") && dropPending(p.requestId)}>
                  Drop it
                </button>
              </span>
            )}
          </li>
        ))}
      </ul>
    </Panel>
  );
}

function questionOfTile(tile: Tile): Question {
  const q: Question = {
    body: idOf(tile.layering?.body),
    layers: layerChoicesOf(tile.layering),
    firing: idOf(tile.firing),
    wall: wallChoiceOf(tile.placement),
    kiln: tile.kiln ?? "",
  };
  if (tile.firingPlan) q.plan = tile.firingPlan;
  return q;
}

export function layersText(tile: Tile, names: { name?: string; displayName?: string }[]): string {
  const amount = (l: NonNullable<NonNullable<Tile["layering"]>["layers"]>[number]) =>
    l.thicknessUm !== undefined ? `${l.thicknessUm} µm` : l.dryMassGPerCm2 !== undefined ? `${l.dryMassGPerCm2} g/cm²` : `${l.coats ?? 2}×`;
  const title = (l: { glaze?: string }) =>
    names.find((g) => g.name === l.glaze)?.displayName ?? tile.glazesOfTheDay?.find((g) => g.glaze === l.glaze)?.displayName ?? idOf(l.glaze);
  return [...(tile.layering?.layers ?? [])]
    .reverse()
    .map((l) => `${title(l)} ${amount(l)}`)
    .join(" over ");
}

export function measuredText(tile: Tile, u: "mm" | "in"): string {
  if (tile.runMm !== undefined) return length(tile.runMm, u);
  if (tile.runInterval) return `${lengthNumber(tile.runInterval.fromMm ?? 0, u)} to ${length(tile.runInterval.toMm ?? 0, u)}`;
  if (tile.ranOff) return `ran off (over ${length(tile.placement?.clearanceMm ?? usualWall.clearanceMm, u)})`;
  if (tile.didNotMove) return "did not move";
  return "not measured";
}

interface Page {
  tiles: Tile[];
  next: string;
}

function Logged({ studio }: { studio: string }) {
  const query = route.value.query;
  const glaze = query.get("glaze") ?? "";
  const firing = query.get("firingOnly") ?? "";
  const [pageTokens, setPageTokens] = useState<string[]>([""]);
  const [more, setMore] = useState<Tile[]>([]);
  const token = pageTokens[pageTokens.length - 1]!;
  const names = ready(glazes(studio));
  const filter = (key: string, value: string) => {
    const next = new URLSearchParams(query);
    if (value) next.set(key, value);
    else next.delete(key);
    setMore([]);
    setPageTokens([""]);
    go(address(studio, "tiles", "", next), "replace");
  };
  const takenHere = taken.value.filter((t) => t.studio === studio).length;
  const page = useAnswer<unknown, Page>({ glaze, firing, token, takenHere }, async (_, signal) => {
    const got = await answer(
      api.GET("/v1/studios/{parent}/tiles", {
        params: {
          path: { parent: studio },
          query: {
            pageSize: 50,
            ...(token && { pageToken: token }),
            ...(glaze && { glaze: nameOf(studio, "glazes", glaze) }),
            ...(firing && { firing: nameOf(studio, "firings", firing) }),
          },
        },
        signal,
      }),
    );
    return { tiles: got.tiles ?? [], next: got.nextPageToken ?? "" };
  });
  const suspects = useAnswer<unknown, Map<string, string>>({ suspects: takenHere }, async (_, signal) => {
    const record = await answer(api.GET("/v1/studios/{parent}/record", { params: { path: { parent: studio } }, signal }));
    return new Map((record.points ?? []).filter((p) => p.suspect).map((p) => [p.tile ?? "", p.suspect ?? ""]));
  });
  const all = [...more, ...(page.value?.tiles ?? [])];
  return (
    <Panel title="Logged tiles">
      <div class="pair no-print">
        <Choice label="With the glaze" value={glaze} empty="Any" options={names.map((g) => ({ value: idOf(g.name), text: g.displayName ?? "" }))} onValue={(v) => filter("glaze", v)} />
        <Choice label="In the firing" value={firing} empty="Any" options={ready(firings(studio)).map((f) => ({ value: idOf(f.name), text: f.displayName ?? "" }))} onValue={(v) => filter("firingOnly", v)} />
      </div>
      {page.problem && <Failed problem={page.problem} />}
      {!page.value && page.busy && <Waiting what="Fetching the tiles" />}
      {page.value && all.length === 0 && (
        <Empty title={glaze || firing ? "No tile fits" : "No tile yet"}>
          <p>Ten tiles already narrow the scores. Fire a tile beside the next load, measure its longest drip, and log it here or from a score.</p>
        </Empty>
      )}
      <ul class="tile-list">
        {all.map((t) => (
          <TileLine key={t.name} studio={studio} tile={t} suspect={suspects.value?.get(t.name ?? "")} />
        ))}
      </ul>
      {page.value?.next && (
        <button
          type="button"
          onClick={() => {
            setMore(all);
            setPageTokens([...pageTokens, page.value!.next]);
          }}
        >
          Older tiles
        </button>
      )}
    </Panel>
  );
}

// How the measured run lies to the interval that was given beforehand.
function verdictOf(tile: Tile): { word: string; sign: string } | null {
  const p = tile.prediction;
  if (!p) return null;
  const low = tile.runMm ?? tile.runInterval?.fromMm ?? (tile.ranOff ? (tile.placement?.clearanceMm ?? usualWall.clearanceMm) : 0);
  const high = tile.runMm ?? tile.runInterval?.toMm ?? (tile.ranOff ? Infinity : (tile.readingErrorMm ?? 1));
  if (low > (p.runP90Mm ?? 0)) return { word: "ran more", sign: "▼" };
  if (high < (p.runP10Mm ?? 0)) return { word: "ran less", sign: "▲" };
  return { word: "as said", sign: "✓" };
}

function TileLine({ studio, tile, suspect, opened }: { studio: string; tile: Tile; suspect: string | undefined; opened?: boolean }) {
  const u = unit.value;
  const p = tile.prediction;
  const verdict = verdictOf(tile);
  const firing = ready(firings(studio)).find((f) => f.name === tile.firing)?.displayName ?? (tile.firing ? idOf(tile.firing) : tile.firingPlan ? planSentence(tile.firingPlan) : "");
  return (
    <li class={suspect ? "tile suspect" : "tile"}>
      <a href={address(studio, "tiles", idOf(tile.name))}>
        <strong>{layersText(tile, ready(glazes(studio)))}</strong>
      </a>
      <span class="compare">
        <span>
          measured <strong>{measuredText(tile, u)}</strong>
        </span>
        {p && (
          <span>
            said <strong>{length(p.medianRunMm ?? 0, u)}</strong> ({lengthNumber(p.runP10Mm ?? 0, u)}–{lengthNumber(p.runP90Mm ?? 0, u)})
          </span>
        )}
        {verdict && (
          <span class="tag">
            {verdict.sign} {verdict.word}
          </span>
        )}
        {tile.setAside && <span class="tag">set aside</span>}
      </span>
      {suspect && (
        <span>
          <span class="tag">! suspect</span> {inReadersUnit(suspect, u)}
        </span>
      )}
      <span class="hint">
        {[tile.fireDate, firing, tile.tester].filter(Boolean).join(" · ")}
        {!opened && (
          <>
            {" "}
            · <a href={address(studio, "tiles", idOf(tile.name))} aria-label={`Open or mend tile ${idOf(tile.name)}`}>open or mend</a>
          </>
        )}
      </span>
    </li>
  );
}

function OneTile({ studio, id }: { studio: string; id: string }) {
  const [turn, setTurn] = useState(0);
  const read = useAnswer<unknown, Tile>({ id, turn }, (_, signal) =>
    answer(api.GET("/v1/studios/{name}/tiles/{name_1}", { params: { path: { name: studio, name_1: id } }, signal })),
  );
  const saving = useSaving();
  const u = unit.value;
  const tile = read.value;
  // After somebody else's change the tile is read again, so that the second press is about what is shown.
  const change = (write: () => Promise<unknown>) =>
    saving.run(async () => {
      try {
        await write();
      } catch (cause) {
        if (cause instanceof Problem && cause.outdated) setTurn((n) => n + 1);
        throw cause;
      }
    });
  const setAside = (on: boolean) =>
    change(async () => {
      await answer(
        api.PATCH("/v1/studios/{tile.name}/tiles/{tile.name_1}", {
          params: { path: { "tile.name": studio, "tile.name_1": id }, query: { updateMask: "set_aside", requestId: newRequestId() } },
          body: { setAside: on, etag: tile?.etag },
        }),
      );
      setTurn((n) => n + 1);
    });
  const remove = () =>
    change(async () => {
      if (!confirm("Delete this tile? Calibrations that learnt from it stay as they are.")) return;
      await answer(
        api.DELETE("/v1/studios/{name}/tiles/{name_1}", {
          params: { path: { name: studio, name_1: id }, query: { requestId: newRequestId(), ...(tile?.etag && { etag: tile.etag }) } },
        }),
      );
      go(address(studio, "tiles"));
    });
  return (
    <Panel title={`Tile ${id}`} aside={<a href={address(studio, "tiles")}>All tiles</a>}>
      {read.problem && <Failed problem={read.problem} />}
      {!tile && read.busy && <Waiting what="Fetching the tile" />}
      {tile && (
        <>
          <ul class="tile-list">
            <TileLine studio={studio} tile={tile} suspect={undefined} opened />
          </ul>
          <dl class="figures4">
            <div>
              <dt class="hint">Band</dt>
              <dd>
                {length(tile.placement?.bandHeightMm ?? usualWall.bandMm, u)} over {length(tile.placement?.clearanceMm ?? usualWall.clearanceMm, u)} bare
              </dd>
            </div>
            {tile.prediction && (
              <div>
                <dt class="hint">Chance of running off, said beforehand</dt>
                <dd>{percent(tile.prediction.exceedProbability ?? 0)}</dd>
              </div>
            )}
            {tile.meanFrontMm !== undefined && (
              <div>
                <dt class="hint">Mean front</dt>
                <dd>{length(tile.meanFrontMm, u)}</dd>
              </div>
            )}
            {tile.witnessCone && (
              <div>
                <dt class="hint">Witness cone</dt>
                <dd>{tile.witnessCone.cone}</dd>
              </div>
            )}
          </dl>
          {tile.notes && <p>{tile.notes}</p>}
          {tile.photoUri && (
            <p>
              <a href={tile.photoUri} target="_blank" rel="noopener noreferrer">
                Photo, elsewhere
              </a>
            </p>
          )}
          <Tick label="Keep it, but do not learn from it" value={tile.setAside ?? false} onValue={setAside} />
          <details>
            <summary>Mend the reading</summary>
            <ReadingEditor studio={studio} tile={tile} onStored={() => setTurn((n) => n + 1)} />
          </details>
          <p class="row">
            <a class="button" href={address(studio, "score", "", questionToQuery(questionOfTile(tile)))}>
              Score it today
            </a>
            <a class="button" href={address(studio, "tiles", "", questionToQuery(questionOfTile(tile)))}>
              Log another like it
            </a>
            <button type="button" onClick={remove}>
              Delete
            </button>
          </p>
          {saving.problem && <Failed problem={saving.problem} />}
        </>
      )}
    </Panel>
  );
}

function Exchange({ studio }: { studio: string }) {
  const [csv, setCsv] = useState("");
  const [fileName, setFileName] = useState("");
  const [keepGood, setKeepGood] = useState(false);
  const [done, setDone] = useState<ImportTilesResponse>();
  const saving = useSaving();
  const [exportProblem, setExportProblem] = useState<Problem>();
  const load = () =>
    saving.run(async () => {
      setDone(undefined);
      const got = await answer(
        api.POST("/v1/studios/{parent}/tiles:import", {
          params: { path: { parent: studio } },
          body: { csv, keepGoodLines: keepGood, requestId: newRequestId() },
        }),
      );
      setDone(got);
      if (got.imported) taken.value = [...taken.value, { requestId: newRequestId(), studio, tile: {} }];
    });
  const save = async () => {
    setExportProblem(undefined);
    try {
      const parts: string[] = [];
      for await (const chunk of stream<{ csv?: string }>(`/v1/studios/${encodeURIComponent(studio)}/tiles:export`, { method: "GET" })) parts.push(chunk.csv ?? "");
      download(`${studio}-tiles.csv`, "text/csv", parts);
    } catch (cause) {
      setExportProblem(cause instanceof Problem ? cause : new Problem(0, String(cause)));
    }
  };
  return (
    <Panel title="Bring in and take out">
      <p class="row">
        <button type="button" onClick={save}>
          Download all tiles
        </button>
        <FileButton
          label="Choose a CSV"
          accept=".csv,text/csv,text/plain"
          onFile={async (file) => {
            setFileName(file.name);
            setCsv(await file.text());
          }}
        />
      </p>
      {exportProblem && <Failed problem={exportProblem} />}
      <TextField label={fileName ? `From ${fileName}` : "Or paste tiles as CSV"} lines={4} value={csv} onValue={setCsv} hint="A download shows the columns." />
      <Tick label="Log the good lines even if others are bad" value={keepGood} onValue={setKeepGood} />
      <p class="row">
        <button type="button" class="main" disabled={!csv.trim() || saving.busy} onClick={load}>
          Bring in
        </button>
      </p>
      {saving.problem && <Failed problem={saving.problem} />}
      {done && (
        <div role="status" class="stack">
          <p>
            <strong>{done.imported ?? 0}</strong> tiles logged{done.faults?.length ? `, ${done.faults.length + (done.moreFaults ?? 0)} faults:` : "."}
          </p>
          {done.faults && done.faults.length > 0 && (
            <Scrolled label="Faults in the file">
              <table>
                <thead>
                  <tr>
                    <th scope="col" class="n">Line</th>
                    <th scope="col">Column</th>
                    <th scope="col">What is wrong</th>
                  </tr>
                </thead>
                <tbody>
                  {done.faults.map((f, i) => (
                    <tr key={i}>
                      <td class="n">{f.line}</td>
                      <td>{f.column || "whole line"}</td>
                      <td>{f.sentence}</td>
                    </tr>
                  ))}
                </tbody>
              </table>
            </Scrolled>
          )}
          {!!done.moreFaults && <p>{done.moreFaults} more faults are not listed.</p>}
        </div>
      )}
    </Panel>
  );
}
