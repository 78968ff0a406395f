// Tiles: what came out of the kiln, beside what was said beforehand.
import { useMemo, useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import { Problem } from "../api/problem";
import { stream } from "../api/stream";
import type { ImportTilesResponse, Tile } from "../api/types";
import { useAnswer } from "../asking";
import { download } from "../download";
import { firings, glazes, noteDamage, ready, Resource } from "../lists";
import { dropPending, pending, sendNow, taken } from "../logging";
import { idOf, nameOf, optionsOf } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { useSaving } from "../saving";
import { newLayer, questionFromQuery, questionToQuery, usualWall } from "../scoring";
import { bareOf, formOfTile, questionOfTile } from "../tile";
import { inReadersUnit, length, lengthNumber, measured, measuredNumber, percent } from "../units";
import { lastUsed } from "../used";
import { ask, confirmed } from "../parts/ask";
import { Choice, FileButton, TextField, Tick } from "../parts/fields";
import { glazeMore } from "../parts/layers";
import { planSentence } from "../parts/plan";
import { RemoveButton } from "../parts/removal";
import { Empty, Failed, Panel, Scrolled, Waiting, When } from "../parts/states";
import { LogTile, TileEditor } from "../parts/tile";

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
  const { query } = route.value;
  const asked = questionFromQuery(query);
  // A tile that the server refused, to be mended.
  const again = query.get("again") ?? "";
  const refused = pending.value.find((p) => p.requestId === again)?.tile;
  const start = refused ? formOfTile(refused) : asked.layers.length > 0 ? asked : { ...lastUsed(studio), layers: [newLayer("")] };
  const name = refused ? again : asked.layers.length > 0 ? questionToQuery(asked).toString() : "";
  return (
    <Panel title="Log a tile">
      {ready(glazes(studio)).length === 0 && (
        <p class="hint">
          Tiles need a glaze: <a href={address(studio, "glazes", "new")}>enter one</a>.
        </p>
      )}
      <LogTile key={name} studio={studio} start={start} name={name} again={again} />
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
                <a class="button" href={address(studio, "tiles", "", new URLSearchParams({ again: p.requestId }))}>
                  Change and log it again
                </a>
                <button
                  type="button"
                  onClick={async () => {
                    if (await confirmed("Drop this tile?", <p>It is kept nowhere else, and this cannot be undone.</p>, "Drop the tile")) dropPending(p.requestId);
                  }}
                >
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
  if (tile.runMm !== undefined) return measured(tile.runMm, u);
  if (tile.runInterval) return `${measuredNumber(tile.runInterval.fromMm ?? 0, u)} to ${measured(tile.runInterval.toMm ?? 0, u)}`;
  if (tile.ranOff) return `ran off (over ${length(bareOf(tile), u)})`;
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
      api.GET("/v1/studios/{studio}/tiles", {
        params: {
          path: { studio },
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
    noteDamage(got.unreadable);
    return { tiles: got.tiles ?? [], next: got.nextPageToken ?? "" };
  });
  const suspects = useAnswer<unknown, Map<string, string>>({ suspects: takenHere }, async (_, signal) => {
    const record = await answer(api.GET("/v1/studios/{studio}/record", { params: { path: { studio } }, signal }));
    return new Map((record.points ?? []).filter((p) => p.suspect).map((p) => [p.tile ?? "", p.suspect ?? ""]));
  });
  const all = [...more, ...(page.value?.tiles ?? [])];
  return (
    <Panel title="Logged tiles">
      <div class="pair no-print">
        <Choice label="With the glaze" value={glaze} empty="Any" options={optionsOf(names, glazeMore)} onValue={(v) => filter("glaze", v)} />
        <Choice label="In the firing" value={firing} empty="Any" options={optionsOf(ready(firings(studio)))} onValue={(v) => filter("firingOnly", v)} />
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
  const low = tile.runMm ?? tile.runInterval?.fromMm ?? (tile.ranOff ? bareOf(tile) : 0);
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
            · <a href={address(studio, "tiles", idOf(tile.name))} aria-label={`Open or change tile ${idOf(tile.name)}`}>open or change</a>
          </>
        )}
      </span>
    </li>
  );
}

function OneTile({ studio, id }: { studio: string; id: string }) {
  const read = useMemo(() => new Resource(() => answer(api.GET("/v1/studios/{studio}/tiles/{tile}", { params: { path: { studio, tile: id } } }))), [studio, id]);
  const loaded = read.value;
  const u = unit.value;
  const tile = loaded.state === "ready" ? loaded.value : undefined;
  return (
    <Panel title={`Tile ${id}`} aside={<a href={address(studio, "tiles")}>All tiles</a>}>
      <When loaded={loaded} what="Fetching the tile" onRetry={() => read.reload()}>
        {() => null}
      </When>
      {tile && (
        <>
          <ul class="tile-list">
            <TileLine studio={studio} tile={tile} suspect={undefined} opened />
          </ul>
          <dl class="figures4">
            <div>
              <dt class="hint">Band</dt>
              <dd>
                {length(tile.placement?.bandHeightMm ?? usualWall.bandMm, u)} over {length(bareOf(tile), u)} bare
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
                <dd>{measured(tile.meanFrontMm, u)}</dd>
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
          <details>
            <summary>Change this tile</summary>
            <TileEditor key={id} studio={studio} tile={tile} onStored={() => read.reload()} />
          </details>
          <p class="row">
            <a class="button" href={address(studio, "score", "", questionToQuery(questionOfTile(tile)))}>
              Score it today
            </a>
            <a class="button" href={address(studio, "tiles", "", questionToQuery(questionOfTile(tile)))}>
              Log another like it
            </a>
            <RemoveButton
              name={`tile ${id}`}
              uses={async () => ["Calibrations that learnt from it stay as they are; the next one does without it."]}
              onRemove={async (requestId) => {
                await answer(
                  api.DELETE("/v1/studios/{studio}/tiles/{tile}", {
                    params: { path: { studio, tile: id }, query: { requestId, ...(tile.etag && { etag: tile.etag }) } },
                  }),
                );
                go(address(studio, "tiles"));
              }}
            />
          </p>
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
  const send = (rest: { validateOnly?: boolean; skipDuplicates?: boolean }) =>
    answer(api.POST("/v1/studios/{studio}/tiles:import", { params: { path: { studio } }, body: { csv, keepGoodLines: keepGood, ...rest } }));
  // Duplicates are named before anything is stored.
  const load = () =>
    saving.run(async () => {
      setDone(undefined);
      const tried = await send({ validateOnly: true });
      const listed = tried.duplicates ?? [];
      const moreTwins = tried.moreDuplicates ?? 0;
      const twins = listed.length + moreTwins;
      const imported = tried.imported ?? 0;
      let how = "all";
      if (twins > 0 && imported > 0) {
        how = await ask(
          twins === imported ? "All these tiles are here already" : `${twins} of ${imported} tiles are here already`,
          <>
            <ul class="plain-list scrolling">
              {listed.map((d) => (
                <li key={d.line}>
                  Line {d.line} says the same as {d.tile ? `tile ${idOf(d.tile)}` : `line ${d.earlierLine}`}.
                </li>
              ))}
              {moreTwins > 0 && <li>{moreTwins} more.</li>}
            </ul>
            <p>Nothing is stored yet.</p>
          </>,
          [...(imported > twins ? [{ value: "new", text: `Bring in the other ${imported - twins}` }] : []), { value: "all", text: `Bring in all ${imported}, twice` }],
        );
        if (!how) return;
      }
      const requestId = newRequestId();
      const got = imported === 0 ? tried : await send({ skipDuplicates: how === "new", ...{ requestId } });
      setDone(got);
      if (got.imported) {
        setCsv("");
        taken.value = [...taken.value, { requestId, studio, tile: {} }];
      }
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
