// Record: is this any good here?
import { useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import type { Accuracy, Calibration, CompareLotsResponse, Record as StudioRecord, SuggestTilesResponse } from "../api/types";
import { useAnswer } from "../asking";
import { calibrations, firings, glazes, lots, ready } from "../lists";
import { numberIn, type Entry } from "../entries";
import { idOf, lotName, nameOf } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { useSaving } from "../saving";
import { layerChoicesOf, layeringOf, newLayer, questionToQuery, usualWall } from "../scoring";
import { inReadersUnit, length, lengthNumber, percent, toShown } from "../units";
import { AnyOf, Choice, NumberField, Tick } from "../parts/fields";
import { SheetFlags } from "../parts/flags";
import { Plot, type Point } from "../parts/plot";
import { Cautions, Empty, Failed, Panel, Scrolled, Waiting, When } from "../parts/states";

export function RecordPage({ studio }: { studio: string }) {
  const [turn, setTurn] = useState(0);
  const record = useAnswer<unknown, StudioRecord>({ studio, turn }, (_, signal) =>
    answer(api.GET("/v1/studios/{studio}/record", { params: { path: { studio } }, signal })),
  );
  const points = record.value?.points ?? [];
  return (
    <>
      <div class="title">
        <h1>Record</h1>
        <p>Is this any good here? Every tile was scored before it was known.</p>
      </div>
      {record.problem && <Failed problem={record.problem} onRetry={() => setTurn(turn + 1)} />}
      {!record.value && record.busy && <Waiting what="Fetching the record" />}
      {record.value && points.length === 0 && (
        <Empty title="No record yet">
          <p>
            <a href={address(studio, "tiles")}>Log tiles</a>: each is scored first, and what was said is set beside what came out.
          </p>
        </Empty>
      )}
      {record.value && points.length > 0 && <Proof studio={studio} record={record.value} />}
      <div class="twin no-print">
        <NextTiles studio={studio} />
        <div class="stack">
          <Calibrations studio={studio} onChange={() => setTurn(turn + 1)} />
          <Lots studio={studio} />
        </div>
      </div>
    </>
  );
}

// A factor on (1 + run) that the typical error amounts to.
function factor(a: Accuracy | undefined): string {
  return a?.rmsLnRun === undefined ? "—" : `${Math.exp(a.rmsLnRun).toFixed(2)}×`;
}

function Proof({ studio, record }: { studio: string; record: StudioRecord }) {
  const u = unit.value;
  const names = new Map(ready(glazes(studio)).map((g) => [g.name ?? "", g.displayName ?? ""]));
  const all = record.points ?? [];
  const points = all.slice(-1000);
  const a = record.accuracy;
  const recent = record.recent;
  const eighty = a?.coverage?.find((c) => Math.abs((c.nominal ?? 0) - 0.8) < 1e-6);
  const show = (mm: number) => toShown(mm, u);
  const text = (v: number) => String(Number(v.toFixed(u === "in" ? 2 : 0)));

  const dots = (exact: boolean): Point[] =>
    points
      .filter((p) => exact === ((p.measuredToMm ?? 0) > 0 && p.measuredToMm === p.measuredFromMm))
      .map((p) => ({
        x: show(exact ? (p.measuredFromMm ?? 0) : p.measuredToMm ? ((p.measuredFromMm ?? 0) + p.measuredToMm) / 2 : (p.measuredFromMm ?? 0)),
        y: show(p.predictedMm ?? 0),
        low: show(p.p10Mm ?? 0),
        high: show(p.p90Mm ?? 0),
        shape: p.suspect ? ("cross" as const) : exact ? ("round" as const) : ("up" as const),
        title: `${p.glazes?.map((g) => names.get(g) ?? idOf(g)).join(" + ")}, ${p.fireDate}`,
      }));
  const most = Math.max(...points.flatMap((p) => [show(p.p90Mm ?? 0), show(p.measuredToMm || (p.measuredFromMm ?? 0))]), 1);

  // Error of the last twenty at each tile, in ln(1 + run), as the service judges it.
  const errors = points.map((p) => {
    const said = Math.log1p(p.predictedMm ?? 0);
    const low = Math.log1p(p.measuredFromMm ?? 0);
    const high = p.measuredToMm ? Math.log1p(p.measuredToMm) : Infinity;
    return said < low ? low - said : said > high ? said - high : 0;
  });
  const running: Point[] = errors.map((_, i) => {
    const last = errors.slice(Math.max(0, i - 19), i + 1);
    return { x: all.length - points.length + i + 1, y: Math.sqrt(last.reduce((s, e) => s + e * e, 0) / last.length) };
  });
  const suspects = points.filter((p) => p.suspect);

  return (
    <>
      <Panel title="In short">
        <div class="figures4">
          <div>
            <strong>{a?.tiles ?? 0}</strong>
            <span>tiles scored beforehand</span>
          </div>
          <div>
            <strong>{eighty ? percent(eighty.observed ?? 0) : "—"}</strong>
            <span>fell in the 80 % interval</span>
          </div>
          <div>
            <strong>{factor(recent)}</strong>
            <span>typical error of the last {recent?.tiles ?? 0}, as a factor on 1 + run</span>
          </div>
          <div>
            <strong>{a?.medianAbsMm === undefined ? "—" : length(a.medianAbsMm, u)}</strong>
            <span>median miss</span>
          </div>
          <div>
            <strong>{a?.brier === undefined ? "—" : a.brier.toFixed(3)}</strong>
            <span>Brier score of “passes the foot”; 0 is perfect</span>
          </div>
        </div>
      </Panel>
      <div class="twin">
        <Panel title="Said against measured">
          <Plot
            label={`Median run said beforehand against the run measured, ${points.length} tiles, with 80 % intervals`}
            x={{ label: `measured, ${u}`, from: 0, to: most, even: "ln", format: text }}
            y={{ label: `said beforehand, ${u}`, from: 0, to: most, even: "ln", format: text }}
            diagonal
            marks={[
              { kind: "dots", name: "measured", points: dots(true), tone: 0 },
              { kind: "dots", name: "only bounds (▲: ran off, did not move, between)", points: dots(false), tone: 1 },
            ]}
          />
          <p class="hint">On the line: said and measured agree. A cross is a suspect tile. {all.length > points.length && `The last ${points.length} of ${all.length}.`}</p>
        </Panel>
        <Panel title="Error over time">
          <Plot
            label="Root mean square error of ln(1 + run in mm) over the last twenty tiles, tile by tile"
            x={{ label: "tile, in the order logged" }}
            y={{ label: "error of ln(1 + run)", from: 0 }}
            marks={[{ kind: "line", name: "the last twenty", points: running, tone: 0 }]}
          />
          <p class="hint">Falling is learning. 0.69 is a factor of two.</p>
        </Panel>
      </div>
      <div class="twin">
        <Panel title="Do the intervals hold?">
          <Scrolled label="Coverage of intervals">
            <table>
              <thead>
                <tr>
                  <th scope="col">Interval</th>
                  <th scope="col" class="n">
                    held
                  </th>
                  <th scope="col" class="n">
                    of tiles
                  </th>
                </tr>
              </thead>
              <tbody>
                {a?.coverage?.map((c) => (
                  <tr key={c.nominal}>
                    <td>{percent(c.nominal ?? 0)}</td>
                    <td class="n">{percent(c.observed ?? 0)}</td>
                    <td class="n">{c.tiles}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Scrolled>
          {a?.reliability && a.reliability.length > 0 && (
            <Plot
              label="How often the foot was passed against the chance given beforehand"
              height={230}
              x={{ label: "chance said", from: 0, to: 1, format: (v) => `${Math.round(v * 100)} %` }}
              y={{ label: "happened", from: 0, to: 1, format: (v) => `${Math.round(v * 100)} %` }}
              diagonal
              marks={[
                {
                  kind: "dots",
                  name: "passed the foot",
                  points: a.reliability.map((b) => ({ x: b.forecast ?? 0, y: b.observed ?? 0, title: `${b.tiles} tiles` })),
                },
              ]}
            />
          )}
        </Panel>
        <Panel title="By glaze and cone">
          <AccuracyTable
            rows={[...(record.perGlaze ?? []).map((r) => ({ of: names.get(r.of ?? "") ?? idOf(r.of), a: r.accuracy })), ...(record.perCone ?? []).map((r) => ({ of: `cone ${r.of}`, a: r.accuracy }))]}
          />
        </Panel>
      </div>
      {suspects.length > 0 && (
        <Panel title="Suspect tiles">
          <ul class="tile-list">
            {suspects.slice(0, 30).map((p) => (
              <li class="tile suspect" key={p.tile}>
                <a href={address(studio, "tiles", idOf(p.tile))}>{p.glazes?.map((g) => names.get(g) ?? idOf(g)).join(" + ")}</a>
                <span>{inReadersUnit(p.suspect ?? "", u)}</span>
              </li>
            ))}
          </ul>
        </Panel>
      )}
    </>
  );
}

function AccuracyTable({ rows }: { rows: { of: string; a: Accuracy | undefined }[] }) {
  return (
    <Scrolled label="Accuracy by glaze and cone">
      <table>
        <thead>
          <tr>
            <th scope="col">Of</th>
            <th scope="col" class="n">
              tiles
            </th>
            <th scope="col" class="n">
              typical factor
            </th>
            <th scope="col" class="n">
              median miss
            </th>
            <th scope="col" class="n">
              in 80 %
            </th>
          </tr>
        </thead>
        <tbody>
          {rows.map(({ of, a }) => (
            <tr key={of}>
              <th scope="row">{of}</th>
              <td class="n">{a?.tiles}</td>
              <td class="n">{factor(a)}</td>
              <td class="n">{a?.medianAbsMm === undefined ? "" : length(a.medianAbsMm, unit.value)}</td>
              <td class="n">{percent(a?.coverage?.find((c) => Math.abs((c.nominal ?? 0) - 0.8) < 1e-6)?.observed ?? 0)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </Scrolled>
  );
}

function NextTiles({ studio }: { studio: string }) {
  const knownGlazes = ready(glazes(studio));
  const knownFirings = ready(firings(studio));
  const names = new Map(knownGlazes.map((g) => [idOf(g.name), g.displayName ?? ""]));
  const [chosen, setChosen] = useState<string[] | null>(null);
  const [firing, setFiring] = useState("");
  const [count, setCount] = useState<Entry>(5);
  const [runOff, setRunOff] = useState(false);
  const [found, setFound] = useState<SuggestTilesResponse>();
  const asking = useSaving();
  const ids = chosen ?? knownGlazes.slice(0, 60).map((g) => idOf(g.name));
  const tiles = numberIn(count);
  const fired = firing || idOf(knownFirings[0]?.name);
  const layers = layeringOf(studio, ids.map(newLayer), "").layers ?? [];
  const ask = () =>
    asking.run(async () => {
      setFound(
        await answer(
          api.POST("/v1/studios/{studio}:suggestTiles", {
            params: { path: { studio } },
            body: { count: Math.round(tiles!), allowRunOff: runOff, candidates: { positions: [{ choices: layers }, { choices: layers }], firings: [nameOf(studio, "firings", fired)] } },
          }),
        ),
      );
    });
  const u = unit.value;
  return (
    <Panel title="Which tiles to fire next">
      <AnyOf label="Glazes you care about" hint="Every pair of them counts, in both orders, two coats each." options={knownGlazes.map((g) => ({ value: idOf(g.name), text: g.displayName ?? "" }))} values={ids} onValues={setChosen} />
      <div class="pair">
        <Choice label="In the firing" value={fired} options={knownFirings.map((f) => ({ value: idOf(f.name), text: f.displayName ?? "" }))} onValue={setFiring} />
        <NumberField label="How many tiles" value={count} min={1} max={50} step={1} required onValue={setCount} />
      </div>
      <Tick label="Even if they will probably run off" value={runOff} onValue={setRunOff} />
      <p class="row">
        <button type="button" class="main" disabled={asking.busy || ids.length === 0 || !fired || tiles === undefined} onClick={ask}>
          Find the tiles that teach most
        </button>
      </p>
      {asking.busy && <Waiting what="Weighing the pairs" />}
      {asking.problem && <Failed problem={asking.problem} />}
      {found && (
        <div class="stack" role="status">
          <p>
            Unsure on which side of the foot: <strong>{(found.misjudgedBefore ?? 0).toFixed(1)}</strong> combinations now, <strong>{(found.misjudgedAfter ?? 0).toFixed(1)}</strong> after these
            tiles.
          </p>
          <ol class="tile-list">
            {found.tiles?.map((t, i) => {
              const choices = layerChoicesOf(t.layering);
              const question = { body: idOf(t.layering?.body), layers: choices, firing: idOf(t.firing), wall: usualWall, kiln: "" };
              return (
                <li class="tile" key={i}>
                  <a href={address(studio, "score", "", questionToQuery(question))}>
                    <strong>{[...choices].reverse().map((l) => names.get(l.glaze) ?? l.glaze).join(" over ")}</strong>
                  </a>
                  <span>{inReadersUnit(t.sentence ?? "", u)}</span>
                  <span class="hint">
                    expected {length(t.medianRunMm ?? 0, u)}, 90 % under {length(t.runP90Mm ?? 0, u)}; settles {(t.expectedGain ?? 0).toFixed(2)} combinations
                  </span>
                </li>
              );
            })}
          </ol>
          <SheetFlags studio={studio} flags={found.flags} />
          <Cautions cautions={found.cautions} />
        </div>
      )}
    </Panel>
  );
}

const effectWords: { [kind: string]: string } = {
  intercept: "This studio in all",
  reduction: "Reduction",
  heat_work: "More heat work",
  thickness: "Thicker films",
  contrast: "Stiff and fluid layers together",
  order: "A fluid glaze under a stiff one",
  matte: "Matte glazes",
  cooling: "Slow cooling",
  described: "Glazes known by their behaviour",
};

// What the calibration in use has learnt, as factors on the drive; the surest first.
function Learnt({ studio, calibration }: { studio: string; calibration: Calibration }) {
  const names = new Map(ready(glazes(studio)).map((g) => [g.name ?? "", g.displayName ?? ""]));
  const title = (of: string) => of.split(/[\s,+|]+/).filter(Boolean).map((part) => names.get(part) ?? idOf(part)).join(" + ");
  const effects = [...(calibration.effects ?? [])]
    .filter((e) => (e.tiles ?? 0) > 0 && (e.sd ?? 0) > 0)
    .sort((a, b) => Math.abs(b.value ?? 0) / (b.sd ?? 1) - Math.abs(a.value ?? 0) / (a.sd ?? 1))
    .slice(0, 12);
  if (effects.length === 0) return null;
  return (
    <details>
      <summary>What calibration {calibration.number} has learnt</summary>
      <Scrolled label="What was learnt">
        <table>
          <thead>
            <tr>
              <th scope="col">Of</th>
              <th scope="col" class="n">
                drive ×
              </th>
              <th scope="col" class="n">
                80 % between
              </th>
              <th scope="col" class="n">
                tiles
              </th>
            </tr>
          </thead>
          <tbody>
            {effects.map((e) => {
              const wide = 1.2816 * (e.sd ?? 0); // 80 % of a normal distribution
              const factorOf = (ln: number) => Math.exp(ln).toFixed(2);
              return (
                <tr key={`${e.kind} ${e.of}`}>
                  <th scope="row">{e.of ? `${e.kind} ${title(e.of)}` : (effectWords[e.kind ?? ""] ?? e.kind)}</th>
                  <td class="n">{factorOf(e.value ?? 0)}</td>
                  <td class="n">
                    {factorOf((e.value ?? 0) - wide)}–{factorOf((e.value ?? 0) + wide)}
                  </td>
                  <td class="n">{e.tiles}</td>
                </tr>
              );
            })}
          </tbody>
        </table>
      </Scrolled>
    </details>
  );
}

function Calibrations({ studio, onChange }: { studio: string; onChange(): void }) {
  const resource = calibrations(studio);
  const saving = useSaving();
  const fit = () =>
    saving.run(async () => {
      await answer(api.POST("/v1/studios/{studio}/calibrations:fit", { params: { path: { studio } }, body: { requestId: newRequestId() } }));
      await resource.reload();
      onChange();
    });
  const activate = (id: string) =>
    saving.run(async () => {
      await answer(api.POST("/v1/studios/{studio}/calibrations/{calibration}:activate", { params: { path: { studio, calibration: id } }, body: {} }));
      await resource.reload();
      onChange();
    });
  return (
    <Panel title="Calibrations">
      <p class="hint">Each is one fit to the tiles of its day, kept whole. A new one that does worse is stored but not used.</p>
      <p class="row">
        <button type="button" class="main" disabled={saving.busy} onClick={fit}>
          Fit all tiles
        </button>
        <span role="status">{saving.busy && "Fitting…"}</span>
      </p>
      {saving.problem && <Failed problem={saving.problem} />}
      <When loaded={resource.value} what="Fetching the calibrations" onRetry={() => resource.reload()}>
        {(all) =>
          all.length === 0 ? (
            <p class="hint">None yet: scores are physics with its prior.</p>
          ) : (
            <ul class="tile-list">
              {all.slice(0, 30).map((c) => (
                <li class="tile" key={c.name}>
                  <span class="row">
                    <strong>Calibration {c.number ?? idOf(c.name)}</strong> {c.tiles} tiles
                    {c.active ? (
                      <span class="tag">✓ in use</span>
                    ) : (
                      <button type="button" disabled={saving.busy} onClick={() => activate(idOf(c.name))}>
                        Use it<span class="unseen">: calibration {c.number}</span>
                      </button>
                    )}
                  </span>
                  {c.verdict && <span>{c.verdict}</span>}
                  {c.active && <Learnt studio={studio} calibration={c} />}
                  <span class="hint">
                    {c.createTime && new Date(c.createTime).toLocaleString()}
                    {c.diagnostics?.prequential?.rmsLnRun !== undefined && ` · typical factor beforehand ${factor(c.diagnostics.prequential)}`}
                    {c.dripRatio ? ` · longest drip ${c.dripRatio.toFixed(2)} × mean front` : ""}
                  </span>
                </li>
              ))}
            </ul>
          )
        }
      </When>
    </Panel>
  );
}

function Lots({ studio }: { studio: string }) {
  const query = route.value.query;
  const knownGlazes = ready(glazes(studio));
  const knownFirings = ready(firings(studio));
  const glaze = query.get("lotsOf") ?? "";
  const known = glaze ? ready(lots(`${studio}/${glaze}`)) : [];
  const options = known.map((l) => ({ value: idOf(l.name), text: l.displayName ?? idOf(l.name) }));
  const old = query.get("old") ?? "";
  const fresh = query.get("new") ?? "";
  const firing = query.get("lotFiring") || idOf(knownFirings[0]?.name);
  const set = (key: string, value: string) => {
    const next = new URLSearchParams(query);
    next.set(key, value);
    if (key === "lotsOf") {
      next.delete("old");
      next.delete("new");
    }
    go(address(studio, "record", "", next), "replace");
  };
  const compared = useAnswer<unknown, CompareLotsResponse>(glaze && old && fresh && old !== fresh && firing ? { glaze, old, fresh, firing } : null, (_, signal) =>
    answer(
      api.POST("/v1/studios/{studio}/glazes/{glaze}/lots:compare", {
        params: { path: { studio, glaze } },
        body: { oldLot: lotName(studio, glaze, old), newLot: lotName(studio, glaze, fresh), firing: nameOf(studio, "firings", firing) },
        signal,
      }),
    ),
  );
  const c = compared.value;
  const u = unit.value;
  return (
    <Panel title="Two lots of a glaze">
      <Choice label="Glaze" value={glaze} options={knownGlazes.map((g) => ({ value: idOf(g.name), text: g.displayName ?? "" }))} onValue={(v) => set("lotsOf", v)} />
      {glaze && known.length < 2 && <p class="hint">This glaze has fewer than two lots. Lots are entered with the glaze.</p>}
      {known.length >= 2 && (
        <>
          <div class="pair">
            <Choice label="Old lot" value={old} options={options} onValue={(v) => set("old", v)} />
            <Choice label="New lot" value={fresh} options={options} onValue={(v) => set("new", v)} />
          </div>
          <Choice label="For the firing" value={firing} options={knownFirings.map((f) => ({ value: idOf(f.name), text: f.displayName ?? "" }))} onValue={(v) => set("lotFiring", v)} />
        </>
      )}
      {compared.problem && <Failed problem={compared.problem} />}
      {c && (
        <div role="status" class="stack">
          <p>
            <strong>{inReadersUnit(c.sentence ?? "", u)}</strong>
          </p>
          <p>
            {length(c.differenceMm ?? 0, u)} more at three coats (80 %: {lengthNumber(c.differenceP10Mm ?? 0, u)} to {length(c.differenceP90Mm ?? 0, u)}); chance that the new lot runs clearly more:{" "}
            {percent(c.runsMoreProbability ?? 0)}. From {c.oldTiles ?? 0} tiles of the old and {c.newTiles ?? 0} of the new.
          </p>
          <p class="hint">
            {(c.tilesToSettle ?? 0) === 0 ? "That is settled." : (c.tilesToSettle ?? 0) >= 1000 ? "No reasonable number of tiles would settle it." : `${c.tilesToSettle} more tiles of the new lot would settle it.`}
          </p>
        </div>
      )}
    </Panel>
  );
}
