// The form of a tile, to log one and to change one: what came out, beside what was said beforehand.
import { useState } from "preact/hooks";
import { answer, api } from "../api/client";
import type { Score, Tile } from "../api/types";
import { useAnswer } from "../asking";
import { isUnread, numberIn, whole, type Draft } from "../entries";
import { bodies, firings, ready } from "../lists";
import { dropPending, logTile, pending, taken } from "../logging";
import { idOf, optionsOf } from "../names";
import { tester, unit } from "../preferences";
import { address } from "../route";
import { thenReread } from "../saving";
import { isComplete, requestOf, type Question } from "../scoring";
import { blankReading, changedFields, doubtOf, formOfTile, isMeasured, tileOf, type Outcome, type Reading, type TileForm } from "../tile";
import { length, lengthNumber, measured, measuredNumber } from "../units";
import { keepUsed } from "../used";
import { ask } from "./ask";
import { Choice, NumberField, OneOf, TextField, Tick } from "./fields";
import { Form, useForm } from "./form";
import { LayersEditor } from "./layers";
import { WallEditor } from "./placement";
import { planSentence } from "./plan";

const labels = {
  layers: "Layers",
  body: "Body",
  firing: "Firing",
  plan: "Firing",
  wall: "Wall",
  kiln: "Kiln",
  outcome: "What came out",
  runMm: "Longest drip",
  upToMm: "At most",
  meanFrontMm: "Mean front",
  readingErrorMm: "Reading error",
  fireDate: "Day of the firing",
  cone: "Witness cone",
  tester: "Applied and read by",
  notes: "Notes",
  photoUri: "Link to a photo",
  setAside: "Set aside",
};

// What would be said of a layering today; undefined while that is not known.
export function useSaid(studio: string, question: Question | undefined): Score | undefined {
  const request = question && isComplete(question) ? requestOf(studio, question) : null;
  return useAnswer(request, (body: NonNullable<typeof request>, signal) => answer(api.POST("/v1/studios/{studio}:score", { params: { path: { studio } }, body, signal })), 200).value;
}

export function Said({ said }: { said: Score | undefined }) {
  if (!said) return null;
  const u = unit.value;
  return (
    <p class="said">
      Said: <strong>{length(said.medianRunMm ?? 0, u)}</strong>, 80 % between {lengthNumber(said.runP10Mm ?? 0, u)} and {length(said.runP90Mm ?? 0, u)}.
    </p>
  );
}

// Asks about a reading that looks like a slip; gives the reading that is meant.
async function sureOf<T extends Reading>(r: T, bareMm: number, said: Score | undefined, verb: string): Promise<T | undefined> {
  const doubt = doubtOf(r, bareMm, said);
  if (!doubt.pastFoot && !doubt.surprising) return r;
  const u = unit.value;
  const what = r.outcome === "off" ? "Ran off" : r.outcome === "still" ? "Did not move" : r.outcome === "run" ? measured(r.runMm ?? 0, u) : `${measuredNumber(r.runMm ?? 0, u)} to ${measured(r.upToMm ?? 0, u)}`;
  const meant = await ask(
    `Really: ${what}?`,
    <>
      {doubt.pastFoot && <p>The bare wall is {length(bareMm, u)}. A longer drip passes the foot: that is “ran off”.</p>}
      {doubt.surprising && said && (
        <p>
          {length(said.medianRunMm ?? 0, u)} was said, and 98 times in a hundred between {lengthNumber(said.runP01Mm ?? 0, u)} and {length(said.runP99Mm ?? 0, u)}. Check the firing, the layers and the
          number.
        </p>
      )}
    </>,
    [...(doubt.pastFoot ? [{ value: "off", text: "Ran off" }] : []), { value: "yes", text: `${verb} it all the same` }],
  );
  if (meant === "off") return { ...r, outcome: "off", runMm: undefined, upToMm: undefined, meanFrontMm: undefined };
  return meant === "yes" ? r : undefined;
}

function ReadingFields({ draft, set, firing }: { draft: Draft<Reading>; set(next: Partial<Draft<Reading>>): void; firing: string | undefined }) {
  const run = numberIn(draft.runMm);
  const upTo = numberIn(draft.upToMm);
  const mean = numberIn(draft.meanFrontMm);
  const longest = draft.outcome === "interval" ? upTo : run;
  const meanFront = isMeasured(draft.outcome) && (
    <NumberField
      label="Mean front"
      hint="The whole edge, not the longest drip."
      value={draft.meanFrontMm}
      min={0}
      max={2000}
      unit="length"
      fault={mean !== undefined && longest !== undefined && mean > longest ? `At most the longest drip, ${measured(longest, unit.value)}.` : undefined}
      onValue={(meanFrontMm) => set({ meanFrontMm })}
    />
  );
  return (
    <>
      <OneOf
        label="What came out"
        value={draft.outcome}
        options={[
          { value: "run", text: "A run" },
          { value: "interval", text: "Between two" },
          { value: "off", text: "Ran off" },
          { value: "still", text: "Did not move" },
        ]}
        onValue={(outcome) => set({ outcome: outcome as Outcome })}
      />
      {isMeasured(draft.outcome) && (
        <div class="pair reading">
          <NumberField label={draft.outcome === "run" ? "Longest drip" : "Longest drip at least"} value={draft.runMm} min={0} max={2000} unit="length" required onValue={(runMm) => set({ runMm })} />
          {draft.outcome === "interval" && (
            <NumberField
              label="And at most"
              value={draft.upToMm}
              min={0}
              max={2000}
              unit="length"
              required
              fault={run !== undefined && upTo !== undefined && upTo <= run ? "Has to be more than the least." : undefined}
              onValue={(upToMm) => set({ upToMm })}
            />
          )}
        </div>
      )}
      <details>
        <summary>More about this tile</summary>
        <div class="stack">
          <div class="pair">
            {meanFront}
            <NumberField
              label="Reading error"
              hint={`One standard deviation. Default: ${measured(1, unit.value)}.`}
              value={draft.readingErrorMm}
              min={0.1}
              max={20}
              unit="length"
              onValue={(readingErrorMm) => set({ readingErrorMm })}
            />
            <TextField label="Witness cone" hint={firing ? `Fired as ${firing}.` : "As read, for example 6 or 6.3."} value={draft.cone} onValue={(cone) => set({ cone })} maxLength={8} />
            <TextField label="Day of the firing" type="date" value={draft.fireDate} required onValue={(fireDate) => set({ fireDate })} />
            <TextField label="Applied and read by" value={draft.tester} onValue={(by) => set({ tester: by })} maxLength={60} hint="Kept for the next tile." />
            <TextField label="Link to a photo" value={draft.photoUri} onValue={(photoUri) => set({ photoUri })} maxLength={2000} hint="Starts with https://." fault={/^(https?:\/\/.+)?$/.test(draft.photoUri.trim()) ? undefined : "A link starts with http:// or https://."} />
          </div>
          <TextField label="Notes" value={draft.notes} onValue={(notes) => set({ notes })} lines={2} maxLength={4000} />
          <Tick label="Set aside: keep it, but do not learn from it" value={draft.setAside} onValue={(setAside) => set({ setAside })} />
        </div>
      </details>
    </>
  );
}

// How it was layered, fired and placed.
function MadeFields({ studio, draft, set }: { studio: string; draft: Draft<TileForm>; set(next: Partial<Draft<TileForm>>): void }) {
  const { clearanceMm, bandMm } = draft.wall;
  const wallRead = !isUnread(clearanceMm) && !isUnread(bandMm);
  return (
    <>
      <LayersEditor studio={studio} layers={draft.layers} onLayers={(layers) => set({ layers })} />
      {draft.plan && !draft.firing ? (
        <p class="notice">
          Fired: {planSentence(draft.plan as NonNullable<Question["plan"]>)}{" "}
          <button type="button" class="plain" onClick={() => set({ plan: undefined })}>
            Choose a stored firing
          </button>
        </p>
      ) : (
        <Choice
          label="Firing"
          value={draft.firing}
          options={firingOptions(studio)}
          required
          onValue={(firing) => set({ firing })}
        />
      )}
      <details>
        <summary>
          Wall{wallRead && `: band ${length(bandMm, unit.value)} over ${length(clearanceMm, unit.value)} bare`}
          {draft.kiln && `; kiln ${draft.kiln}`}
        </summary>
        <div class="stack">
          <WallEditor studio={studio} wall={draft.wall} onWall={(wall) => set({ wall })} />
          <div class="pair">
            <Choice label="Body" value={draft.body} empty="Not known" options={optionsOf(ready(bodies(studio)))} onValue={(body) => set({ body })} />
            <TextField label="Kiln" value={draft.kiln} maxLength={60} hint="Empty: the firing’s kiln." onValue={(kiln) => set({ kiln })} />
          </div>
        </div>
      </details>
    </>
  );
}

export function firingOptions(studio: string) {
  return ready(firings(studio)).map((f) => ({
    value: idOf(f.name),
    text: `${f.displayName ?? idOf(f.name)}${f.heatWork?.equivalentCone ? ` (cone ${f.heatWork.equivalentCone})` : ""}`,
  }));
}

function firingName(studio: string, id: string): string | undefined {
  return firingOptions(studio).find((f) => f.value === id)?.text;
}

// Logs one tile, then says what became of it and offers the next.
function Logger(props: { children(onLogged: (requestId: string) => void, turn: number): preact.JSX.Element }) {
  const [logged, setLogged] = useState("");
  const [turn, setTurn] = useState(0);
  if (!logged) return props.children(setLogged, turn);
  return (
    <div class="stack">
      <p role="status">
        <Fate requestId={logged} />
      </p>
      <p class="row">
        <button
          type="button"
          onClick={() => {
            setTurn(turn + 1);
            setLogged("");
          }}
        >
          Log another tile
        </button>
      </p>
    </div>
  );
}

function store(studio: string, question: Question, reading: Reading, requestId: string) {
  tester.value = reading.tester.trim();
  keepUsed(studio, question);
  logTile(requestId, studio, tileOf(studio, question, reading));
}

// Logs a tile of a layering that is known, as on the page of its score.
export function LogReading({ studio, question, said }: { studio: string; question: Question; said: Score | undefined }) {
  return (
    <Logger>
      {(onLogged, turn) => <ReadingForm key={turn} studio={studio} question={question} said={said} onLogged={onLogged} />}
    </Logger>
  );
}

function ReadingForm({ studio, question, said, onLogged }: { studio: string; question: Question; said: Score | undefined; onLogged(requestId: string): void }) {
  const form = useForm<Reading>(`catchline.form.${studio}.reading`, blankReading(tester.value));
  const firing = firingName(studio, question.firing);
  return (
    <Form
      form={form}
      submit="Log tile"
      sure={(r) => sureOf(r, question.wall.clearanceMm, said, "Log")}
      onStore={async (reading, requestId) => {
        store(studio, question, reading, requestId);
        onLogged(requestId);
      }}
    >
      {firing && <p class="hint">Fired as {firing}.</p>}
      <Said said={said} />
      <ReadingFields draft={form.draft} set={form.set} firing={firing} />
    </Form>
  );
}

// Logs a tile from nothing, or one like another. `again` is the request id of a refused tile, which the new one replaces.
export function LogTile({ studio, start, name, again }: { studio: string; start: Question & Partial<Reading>; name: string; again?: string }) {
  return (
    <Logger>
      {(onLogged, turn) => <TileLogForm key={turn} studio={studio} start={start} name={name} again={again} onLogged={onLogged} />}
    </Logger>
  );
}

function TileLogForm({ studio, start, name, again, onLogged }: { studio: string; start: Question & Partial<Reading>; name: string; again?: string; onLogged(requestId: string): void }) {
  const form = useForm<TileForm>(`catchline.form.${studio}.log.${name}`, { ...blankReading(tester.value), ...start });
  const said = useSaid(studio, form.value);
  const bare = numberIn(form.draft.wall.clearanceMm);
  return (
    <Form
      form={form}
      submit="Log tile"
      sure={(r) => sureOf(r, bare ?? 0, said, "Log")}
      onStore={async (typed, requestId) => {
        store(studio, typed, typed, requestId);
        if (again) dropPending(again);
        onLogged(requestId);
      }}
    >
      <MadeFields studio={studio} draft={form.draft} set={form.set} />
      <Said said={form.value && said} />
      <ReadingFields draft={form.draft} set={form.set} firing={firingName(studio, form.draft.firing)} />
    </Form>
  );
}

// Changes a tile that is logged. `onStored` reads it anew.
export function TileEditor({ studio, tile, onStored }: { studio: string; tile: Tile; onStored(): Promise<unknown> }) {
  const form = useForm<TileForm>(`catchline.form.${studio}.tile.${idOf(tile.name)}`, formOfTile(tile));
  const said = useSaid(studio, form.value);
  const readable = whole<TileForm>(form.draft);
  const made = readable ? changedFields(form.base, readable).some((f) => ["layering", "firing", "firing_plan", "witness_cone", "placement"].includes(f)) : false;
  return (
    <Form
      form={form}
      labels={labels}
      submit="Save changes"
      done="Saved."
      sure={(r) => sureOf(r, r.wall.clearanceMm, said, "Store")}
      onStore={(typed, requestId) =>
        thenReread(
          answer(
            api.PATCH("/v1/studios/{studio}/tiles/{tile}", {
              params: { path: { studio, tile: idOf(tile.name) }, query: { updateMask: changedFields(form.base, typed).join(",") || "notes", requestId } },
              body: { ...tileOf(studio, typed, typed, tile), etag: typed.etag },
            }),
          ),
          onStored,
        )
      }
    >
      <MadeFields studio={studio} draft={form.draft} set={form.set} />
      <ReadingFields draft={form.draft} set={form.set} firing={firingName(studio, form.draft.firing)} />
      <p class="hint">
        {made
          ? "Layers, firing, cone or wall are changed: what was said beforehand was said of another tile, and is taken away."
          : "What was said beforehand stays as it was said."}
      </p>
    </Form>
  );
}

// What became of a tile that was just logged.
function Fate({ requestId }: { requestId: string }) {
  const waiting = pending.value.find((p) => p.requestId === requestId);
  if (waiting?.refused) return <span class="fault">The server refused it: {waiting.refused}. It is kept under Tiles.</span>;
  if (waiting) return <span class="saved">Kept on this device; it will be sent when the server answers.</span>;
  const found = taken.value.find((t) => t.requestId === requestId);
  if (!found) return null;
  const said = found.tile.prediction;
  return (
    <span class="saved">
      Logged.{" "}
      {said && `It was said beforehand: ${length(said.medianRunMm ?? 0, unit.value)}, 80 % between ${length(said.runP10Mm ?? 0, unit.value)} and ${length(said.runP90Mm ?? 0, unit.value)}. `}
      <a href={address(found.studio, "tiles", idOf(found.tile.name))}>Open it</a>
    </span>
  );
}
