// Score: how far will this layering run on this wall in this firing?
import { useEffect, useState } from "preact/hooks";
import { answer, api } from "../api/client";
import type { Advice, DrawWallResponse, Driver, Firing, Glaze, Score as ScoreAnswer, ScoreLayeringRequest } from "../api/types";
import { useAnswer } from "../asking";
import { scaled, unreadIn, whole, type Draft } from "../entries";
import { bodies, firings, glazes, ready } from "../lists";
import { idOf, optionsOf } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { isComplete, newLayer, questionFromQuery, questionOf, questionToQuery, requestOf, type LayerChoice, type Question } from "../scoring";
import { inReadersUnit, length, lengthNumber, percent } from "../units";
import { keepQuestion, lastQuestion } from "../used";
import { Choice, NumberField } from "../parts/fields";
import { Flags } from "../parts/flags";
import { LayersEditor } from "../parts/layers";
import { WallEditor } from "../parts/placement";
import { planSentence } from "../parts/plan";
import { RiskMark } from "../parts/risk";
import { Cautions, Empty, Failed, Panel, Scrolled, Waiting, When } from "../parts/states";
import { firingOptions, LogReading } from "../parts/tile";
import { WallDrawing } from "../parts/wall";
import { narrow } from "../parts/width";

export function ScorePage({ studio }: { studio: string }) {
  const glazeList = glazes(studio);
  const firingList = firings(studio);
  const { query } = route.value;
  const question = questionFromQuery(query);
  // While a field cannot be read the address keeps the last question that could be, and its answer is marked as old.
  const [unread, setUnread] = useState<{ over: string; draft: Draft<Question> } | null>(null);
  const shown = unread?.over === query.toString() ? unread.draft : (question as Draft<Question>);
  const faults = unreadIn(shown);
  const set = (draft: Draft<Question>) => {
    const readable = whole<Question>(draft);
    setUnread(readable ? null : { over: query.toString(), draft });
    if (readable) go(address(studio, "score", "", questionToQuery(readable)), "replace");
  };

  // An address that says nothing goes on with the last question, or starts with layers that suit a firing.
  const knownGlazes = ready(glazeList);
  const knownFirings = ready(firingList);
  const knownBodies = ready(bodies(studio));
  const blank = query.size === 0;
  useEffect(() => {
    if (!blank || knownGlazes.length === 0 || knownFirings.length === 0) return;
    const kept = questionFromQuery(new URLSearchParams(lastQuestion(studio)));
    const there = (list: { name?: string }[], id: string) => list.some((item) => idOf(item.name) === id);
    const usable = kept.layers.length > 0 && kept.layers.every((l) => there(knownGlazes, l.glaze)) && (!kept.firing || there(knownFirings, kept.firing));
    set(usable ? kept : ({ ...question, ...start(knownGlazes, knownFirings), body: idOf(knownBodies[0]?.name) } as Question));
  }, [blank, knownGlazes.length, knownFirings.length, knownBodies.length]);
  useEffect(() => {
    if (!blank) keepQuestion(studio, query.toString());
  }, [query.toString()]);

  const complete = isComplete(question);
  const request = complete ? requestOf(studio, question) : null;
  const drawn = useAnswer<ScoreLayeringRequest, DrawWallResponse>(request, (score, signal) =>
    answer(api.POST("/v1/studios/{studio}:draw", { params: { path: { studio } }, body: { score }, signal })),
  );
  const score = drawn.value?.score;
  const old = faults.length > 0;

  const asked = (
    <details class="asked no-print" key="asked" open={!narrow.value || !complete}>
      <summary>{complete ? layersSentence(question.layers, knownGlazes, firingOptions(studio).find((f) => f.value === question.firing)?.text) : "Layers, firing and wall"}</summary>
      <div class="stack">
      <Panel title="Layering">
        <Choice label="Body" value={shown.body} empty="Not known" options={optionsOf(knownBodies)} onValue={(body) => set({ ...shown, body })} />
        <LayersEditor studio={studio} layers={shown.layers} onLayers={(layers) => set({ ...shown, layers })} />
      </Panel>
      <Panel title="Firing and wall">
        {question.plan && !shown.firing ? (
          <p class="notice">
            Fired as advised: {planSentence(question.plan)}{" "}
            <button type="button" class="plain" onClick={() => set({ ...shown, plan: undefined })}>
              Choose a stored firing
            </button>
          </p>
        ) : (
          <Choice
            label="Firing"
            value={shown.firing}
            options={firingOptions(studio)}
            hint={knownFirings.length === 0 ? "No firing yet: enter one under Firings." : undefined}
            onValue={(firing) => set({ ...shown, firing })}
          />
        )}
        <WallEditor studio={studio} wall={shown.wall} onWall={(wall) => set({ ...shown, wall })} />
        <NumberField
          label="Tolerated risk"
          hint="Chance of passing the foot that you accept. Empty: the studio’s default."
          value={scaled(shown.toleratedRisk, 100)}
          unit="%"
          min={0.1}
          max={50}
          onValue={(v) => set({ ...shown, toleratedRisk: scaled(v, 0.01) })}
        />
      </Panel>
    </div>
    </details>
  );
  const answered = (
    <div key="answer" class={old ? "stack old" : "stack"} aria-busy={drawn.busy}>
      {old && (
        <p class="notice" role="status">
          <strong>Old score.</strong> Not counted yet: {faults.map((f) => (f.unread.trim() ? `“${f.unread}”: ${f.fault}` : f.fault)).join(" ")}
        </p>
      )}
      {drawn.problem && <Failed problem={drawn.problem} />}
      {complete && !score && drawn.problem?.passing && <LogPanel studio={studio} question={question} old={old} />}
      {!complete && (
        <Empty title="Not enough to score">
          <p>{question.layers.some((l) => !l.glaze) || question.layers.length === 0 ? "Choose a glaze for every layer." : "Choose a firing."}</p>
        </Empty>
      )}
      {complete && !drawn.value && drawn.busy && <Waiting what="Scoring" />}
      {complete && drawn.value && score && (
        <Verdict studio={studio} question={question} drawn={drawn.value} score={score} old={old} onQuestion={(q) => go(address(studio, "score", "", questionToQuery(q)))} />
      )}
    </div>
  );

  return (
    <>
      <div class="title">
        <h1>Score</h1>
        <p>How far will it run, and is the foot safe?</p>
      </div>
      <When loaded={glazeList.value} what="Fetching the glazes" onRetry={() => glazeList.reload()}>
        {(list) =>
          list.length === 0 ? (
            <Empty title="No glaze yet">
              <p>A score needs a glaze and a firing. A glaze may be as little as its name, its cone and how it behaves alone.</p>
              <p class="row">
                <a class="button" href={address(studio, "glazes", "new")}>
                  Enter the first glaze
                </a>
              </p>
            </Empty>
          ) : (
            <div class="split">
              {narrow.value ? [answered, asked] : [asked, answered]}
              {score && complete && (
                <p class={old ? "glance old" : "glance"}>
                  {old && <strong>Old:</strong>}
                  <RiskMark risk={score.risk} chance={score.exceedProbability} />
                  <span>
                    drip <strong>{length(score.medianRunMm ?? 0, unit.value)}</strong>
                  </span>
                  <a href="#why">Why</a>
                </p>
              )}
            </div>
          )
        }
      </When>
    </>
  );
}

function Verdict(props: { studio: string; question: Question; drawn: DrawWallResponse; score: ScoreAnswer; old: boolean; onQuestion(q: Question): void }) {
  const { studio, question, drawn, score } = props;
  const u = unit.value;
  const needed = score.clearanceNeededMm ?? 0;
  const short = needed - (score.clearanceMm ?? 0);
  const query = questionToQuery(question);
  const names = ready(glazes(studio));
  const buffers = (question.wall.lower ?? []).map((b) => ({
    fromMm: b.fromFootMm ?? 0,
    toMm: (b.fromFootMm ?? 0) + (b.bandHeightMm ?? 0),
    name: (b.layering?.layers ?? []).map((l) => names.find((g) => g.name === l.glaze)?.displayName ?? idOf(l.glaze)).join(" + "),
  }));
  return (
    <>
      <Panel
        title="What to expect"
        id="verdict"
        aside={
          <span class="row no-print">
            <a href={address(studio, "shelf", "", withAdd(query))}>Put it on the shelf plan</a>
          </span>
        }
      >
        <div class="twin wide">
          <div class="verdict">
            <p>
              <RiskMark risk={score.risk} chance={score.exceedProbability} large />
            </p>
            <p class="hint">chance that a drip passes the foot</p>
            <dl class="figures">
              <div>
                <dt>Bare wall to leave</dt>
                <dd class="leave">
                  <strong>{length(needed, u)}</strong> for {percent(score.toleratedRisk ?? 0)}
                </dd>
              </div>
              <div>
                <dt>Median drip</dt>
                <dd class="big">{length(score.medianRunMm ?? 0, u)}</dd>
              </div>
              <div>
                <dt>80 % of the time between</dt>
                <dd>
                  <strong>
                    {lengthNumber(score.runP10Mm ?? 0, u)} and {length(score.runP90Mm ?? 0, u)}
                  </strong>
                </dd>
              </div>
            </dl>
            <p>
              {short > 0.5
                ? `You leave ${length(score.clearanceMm ?? 0, u)}: that is ${length(short, u)} too little.`
                : `You leave ${length(score.clearanceMm ?? 0, u)}: that is enough.`}
            </p>
            {score.foot && <Foot score={score} />}
            {buffers.length > 0 && (
              <p>
                With a buffer of {buffers.map((b) => `${b.name}, ${length(b.toMm - b.fromMm, u)} high,`).join(" and ")} below the band: the drip and the bare wall are measured from the lower edge of the lowest.
              </p>
            )}
            <Flags flags={score.flags} />
          </div>
          <WallDrawing film={drawn.film ?? []} score={score} straight={!question.wall.ware && (!question.wall.shape || question.wall.shape.tile !== undefined)} buffers={buffers} />
        </div>
      </Panel>
      <AdvicePanel studio={studio} question={question} onQuestion={props.onQuestion} />
      <LogPanel studio={studio} question={question} said={score} old={props.old} />
      <div class="twin">
        <Panel title="What drives it" id="why">
          <Drivers studio={studio} score={score} />
        </Panel>
        <div class="stack">
          <Panel title="Each glaze alone">
            <Solo studio={studio} score={score} />
          </Panel>
          <Panel title="In the melt">
            <Physics studio={studio} question={question} score={score} />
          </Panel>
        </div>
      </div>
      <Panel title="Tiles behind it">
        <EvidenceList studio={studio} score={score} />
      </Panel>
      <Cautions cautions={score.cautions} />
    </>
  );
}

// "Amber 2× over Clear 3×, Cone 6": what is scored, where its form is folded.
function layersSentence(layers: LayerChoice[], known: Glaze[], firing: string | undefined): string {
  const amount = (l: LayerChoice) => (l.thicknessUm !== undefined ? `${l.thicknessUm} µm` : l.dryMassGPerCm2 !== undefined ? `${l.dryMassGPerCm2} g/cm²` : `${l.coats}×`);
  const over = [...layers].reverse().map((l) => `${known.find((g) => idOf(g.name) === l.glaze)?.displayName ?? l.glaze} ${amount(l)}`);
  return [over.join(" over "), firing].filter(Boolean).join(", ");
}

function LogPanel({ studio, question, said, old }: { studio: string; question: Question; said?: ScoreAnswer; old: boolean }) {
  return (
    <Panel title="Log the tile" class="no-print" id="log">
      {old ? (
        <p class="hint">Correct the question above first: a tile is logged with the layers, firing and wall that stand there.</p>
      ) : (
        <LogReading studio={studio} question={question} said={said} />
      )}
    </Panel>
  );
}

// Two layers whose cones go together, and the firing that is nearest to them.
function start(all: Glaze[], fired: Firing[]): Pick<Question, "layers" | "firing"> {
  const cone = (text: string | undefined) => (text?.startsWith("0") ? -Number(text) : Number(text || NaN));
  const suits = (g: Glaze, f: Firing) => {
    const at = cone(f.heatWork?.equivalentCone);
    return at >= cone(g.coneFrom) - 0.5 && at <= cone(g.coneTo || g.coneFrom) + 1;
  };
  const fits = fired.map((firing) => ({ firing, glazes: all.filter((g) => suits(g, firing)) })).sort((a, b) => b.glazes.length - a.glazes.length)[0]!;
  const chosen = fits.glazes.length > 0 ? fits.glazes : all;
  return { layers: chosen.slice(0, 2).map((g) => newLayer(idOf(g.name))), firing: idOf(fits.firing.name) };
}

function withAdd(query: URLSearchParams): URLSearchParams {
  const next = new URLSearchParams(query);
  next.set("add", "1");
  return next;
}

function Foot({ score }: { score: ScoreAnswer }) {
  const foot = score.foot!;
  const u = unit.value;
  const kind = foot.cookie;
  return (
    <div>
      <h3>
        {kind === "COOKIE_KIND_PLAIN"
          ? `Put a plain cookie under it: ${length(foot.cookieDiameterMm ?? 0, u)} across, ${length(foot.cookieThicknessMm ?? 0, u)} thick`
          : kind === "COOKIE_KIND_DISHED"
            ? `Put a dished cookie under it: ${length(foot.cookieDiameterMm ?? 0, u)} across, ${length(foot.cookieThicknessMm ?? 0, u)} thick`
            : "No cookie needed"}
      </h3>
      {foot.reason && <p class="hint">{inReadersUnit(foot.reason, u)}</p>}
    </div>
  );
}

// What each kind of driver is measured against, in the reader's own unit.
function driverText(d: Driver, glaze: string): string {
  switch (d.kind) {
    case "KIND_THICKNESS":
      return "All layers together, against the thickest alone";
    case "KIND_GLAZE":
      return `${glaze}, against a median glaze in its place`;
    case "KIND_BLEND":
      return "Mixing between the layers, against layers that stay apart";
    case "KIND_HEAT_WORK":
      return "The heat work, against one cone less";
    case "KIND_ORDER":
      return "This order, against the reverse";
    case "KIND_CORRECTION":
      return "What your tiles have taught, against physics alone";
    default:
      return inReadersUnit(d.sentence ?? "", unit.value);
  }
}

function Drivers({ studio, score }: { studio: string; score: ScoreAnswer }) {
  const names = ready(glazes(studio));
  const drivers = score.drivers ?? [];
  if (drivers.length === 0) return <p class="hint">Nothing stands out.</p>;
  const u = unit.value;
  const most = Math.max(...drivers.map((d) => Math.abs(d.runMm ?? 0)), 0.1);
  return (
    <ul class="bars">
      {drivers.map((d, i) => {
        const share = (48 * (d.runMm ?? 0)) / most;
        return (
          <li class="bar" key={i}>
            <span>{driverText(d, names.find((g) => g.name === d.glaze)?.displayName ?? idOf(d.glaze))}</span>
            <strong>
              {(d.runMm ?? 0) < 0 ? "−" : "+"}
              {length(Math.abs(d.runMm ?? 0), u)}
            </strong>
            <svg viewBox="0 0 100 14" preserveAspectRatio="none" aria-hidden="true">
              <rect class={share < 0 ? "less" : "more"} x={share < 0 ? 50 + share : 50} y="3" width={Math.abs(share)} height="8" />
              <path class="zero" d="M50 0v14" vector-effect="non-scaling-stroke" />
            </svg>
          </li>
        );
      })}
    </ul>
  );
}

function Solo({ studio, score }: { studio: string; score: ScoreAnswer }) {
  const names = ready(glazes(studio));
  const solo = score.soloRuns ?? [];
  if (solo.length === 0) return <p class="hint">Nothing to compare.</p>;
  const u = unit.value;
  const rows = [
    ...solo.map((s) => ({
      name: names.find((g) => g.name === s.glaze)?.displayName ?? idOf(s.glaze),
      median: s.medianRunMm ?? 0,
      low: s.runP10Mm ?? 0,
      high: s.runP90Mm ?? 0,
    })),
    { name: "Together", median: score.medianRunMm ?? 0, low: score.runP10Mm ?? 0, high: score.runP90Mm ?? 0 },
  ];
  const most = Math.max(...rows.map((r) => r.high), 1);
  return (
    <>
      <p class="hint">At the same total thickness; the bar is the 80 % interval, the dot the median.</p>
      <ul class="bars">
        {rows.map((r, i) => (
          <li class="bar" key={i}>
            <span>{r.name}</span>
            <span>
              <strong>{length(r.median, u)}</strong> ({lengthNumber(r.low, u)}–{lengthNumber(r.high, u)})
            </span>
            <svg viewBox="0 0 100 14" preserveAspectRatio="none" aria-hidden="true">
              <path class="span" d={`M${(100 * r.low) / most} 7H${(100 * r.high) / most}`} vector-effect="non-scaling-stroke" />
              <rect class="mid" x={(99 * r.median) / most - 0.6} y="1" width="1.8" height="12" />
            </svg>
          </li>
        ))}
      </ul>
    </>
  );
}

function EvidenceList({ studio, score }: { studio: string; score: ScoreAnswer }) {
  const e = score.evidence;
  if (!e || !e.tiles) {
    return (
      <Empty title="No tile yet">
        <p>This score is physics alone, so its interval is wide. Every tile that you log narrows it.</p>
      </Empty>
    );
  }
  return (
    <>
      <p>
        Learnt from <strong>{e.tiles}</strong> tiles
        {score.calibration && <> (calibration {idOf(score.calibration)})</>}; worth <strong>{(e.effectiveTiles ?? 0).toFixed(1)}</strong> tiles for this very layering.
        They {(e.correctionLn ?? 0) < 0 ? "hold it back" : "drive it on"}: {Math.exp(e.correctionLn ?? 0).toFixed(2)}× the drive that physics gives.
      </p>
      <ul class="items">
        {e.movedMost?.map((t) => (
          <li key={t.tile}>
            <a href={address(studio, "tiles", idOf(t.tile))}>
              <span>{inReadersUnit(t.sentence ?? idOf(t.tile), unit.value)}</span>
              <small>weight {(t.weight ?? 0).toFixed(2)}</small>
            </a>
          </li>
        ))}
      </ul>
    </>
  );
}

function Physics({ studio, question, score }: { studio: string; question: Question; score: ScoreAnswer }) {
  const p = score.physics;
  if (!p) return null;
  const names = ready(glazes(studio));
  const layers = question.layers.map((l) => names.find((g) => idOf(g.name) === l.glaze)?.displayName ?? l.glaze);
  const rows: { what: string; thick: number | undefined; visc: number | undefined; share: number | undefined }[] = [];
  layers.forEach((name, i) => {
    rows.push({ what: name, thick: p.layerThicknessUm?.[i], visc: p.layerLog10Viscosity?.[i], share: p.flowShare?.[i] });
    if (i < layers.length - 1) {
      rows.push({ what: "mixed zone", thick: p.mixedZoneUm?.[i], visc: p.blendLog10Viscosity?.[i], share: p.flowShare?.[layers.length + i] });
    }
  });
  return (
    <>
      <Scrolled label="Layers in the melt">
        <table>
          <thead>
            <tr>
              <th scope="col">Layer</th>
              <th scope="col" class="n">µm fired</th>
              <th scope="col" class="n">log₁₀ Pa·s</th>
              <th scope="col" class="n">share of flow</th>
            </tr>
          </thead>
          <tbody>
            {rows.map((r, i) => (
              <tr key={i}>
                <td>{r.what}</td>
                <td class="n">{r.thick?.toFixed(0)}</td>
                <td class="n">{r.visc?.toFixed(2)}</td>
                <td class="n">{r.share === undefined ? "" : percent(r.share)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Scrolled>
      <p class="hint">
        {p.totalThicknessUm?.toFixed(0)} µm in all at the peak of {p.peakC?.toFixed(0)} °C (cone {p.equivalentCone}). Physics alone says{" "}
        {length(p.medianRunMm ?? 0, unit.value)}. Drips about {length(p.fingerSpacingMm ?? 0, unit.value)} apart.
      </p>
    </>
  );
}

function AdvicePanel({ studio, question, onQuestion }: { studio: string; question: Question; onQuestion(q: Question): void }) {
  const request = isComplete(question) ? requestOf(studio, question) : null;
  const advised = useAnswer<ScoreLayeringRequest, Advice[]>(
    request,
    async (score, signal) =>
      (await answer(api.POST("/v1/studios/{studio}:advise", { params: { path: { studio } }, body: { score }, signal }))).advice ?? [],
    350,
  );
  const u = unit.value;
  return (
    <Panel title="What would help" class="no-print">
      {advised.problem && <Failed problem={advised.problem} />}
      {!advised.value && advised.busy && <Waiting what="Trying changes" />}
      {advised.value && advised.value.length === 0 && <p class="hint">Nothing needs to change for the tolerated risk, or no single change helps.</p>}
      {advised.value && advised.value.length > 0 && (
        <ul class={advised.busy ? "tile-list stale" : "tile-list"}>
          {advised.value.map((a, i) => (
            <li class="tile trial" key={i}>
              <strong>{inReadersUnit(a.sentence ?? "", unit.value)}</strong>
              <span class="row">
                <RiskMark risk={a.risk} chance={a.exceedProbability} />
                <span>
                  drip {length(a.medianRunMm ?? 0, u)}, 90 % under {length(a.runP90Mm ?? 0, u)}
                </span>
                {a.enough && <span class="tag">✓ enough</span>}
              </span>
              {a.request && (
                <span class="row">
                  <button type="button" aria-label={`Try it: ${inReadersUnit(a.sentence ?? "", unit.value)}`} onClick={() => onQuestion(questionOf(a.request!))}>
                    Try it
                  </button>
                </span>
              )}
            </li>
          ))}
        </ul>
      )}
    </Panel>
  );
}
