// Logs what came out of the kiln: the layering is known, so a number or one press is enough.
import { useState } from "preact/hooks";
import { newRequestId } from "../api/client";
import type { Tile } from "../api/types";
import { logTile, pending, taken } from "../logging";
import { firings, ready } from "../lists";
import { idOf, nameOf } from "../names";
import { tester, unit } from "../preferences";
import { isComplete, layeringOf, placementOf, type Question } from "../scoring";
import { length } from "../units";
import { NumberField, TextField, Tick } from "./fields";

// The day by the reader's own calendar.
export function today(): string {
  const now = new Date();
  const two = (n: number) => String(n).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

export function tileOf(studio: string, q: Question): Tile {
  const tile: Tile = {
    layering: layeringOf(studio, q.layers, q.body),
    placement: placementOf(studio, q.wall),
  };
  if (q.firing) tile.firing = nameOf(studio, "firings", q.firing);
  else if (q.plan) tile.firingPlan = q.plan;
  if (q.kiln) tile.kiln = q.kiln;
  return tile;
}

export function OutcomeForm({ studio, question, onLogged }: { studio: string; question: Question; onLogged?: () => void }) {
  const [run, setRun] = useState<number>();
  const [upTo, setUpTo] = useState<number>();
  const [meanFront, setMeanFront] = useState<number>();
  const [readingError, setReadingError] = useState<number>();
  const [date, setDate] = useState(today());
  const [cone, setCone] = useState("");
  const [notes, setNotes] = useState("");
  const [aside, setAside] = useState(false);
  const [logged, setLogged] = useState<string>();

  const complete = isComplete(question);
  const firing = ready(firings(studio)).find((f) => idOf(f.name) === question.firing);

  const log = (outcome: Partial<Tile>) => {
    const tile: Tile = { ...tileOf(studio, question), ...outcome, fireDate: date };
    if (tester.value.trim()) tile.tester = tester.value.trim();
    if (cone.trim()) tile.witnessCone = { cone: cone.trim() };
    if (meanFront !== undefined && outcome.runMm !== undefined) tile.meanFrontMm = meanFront;
    if (readingError !== undefined) tile.readingErrorMm = readingError;
    if (notes.trim()) tile.notes = notes.trim();
    if (aside) tile.setAside = true;
    const requestId = newRequestId();
    logTile(requestId, studio, tile);
    setLogged(requestId);
    setRun(undefined);
    setUpTo(undefined);
    setMeanFront(undefined);
    setNotes("");
    onLogged?.();
  };
  const logRun = () => {
    if (run === undefined) return;
    if (upTo !== undefined && upTo > run) log({ runInterval: { fromMm: run, toMm: upTo } });
    else log({ runMm: run });
  };

  return (
    <form
      class="outcome"
      onSubmit={(e) => {
        e.preventDefault();
        logRun();
      }}
    >
      {!complete && <p class="notice">Choose the layers and the firing first; then one number logs the tile.</p>}
      <div class="pair">
        <NumberField label="Longest drip" value={run} min={0} max={2000} unit="length" onValue={setRun} />
        <button type="submit" class="main" disabled={!complete || run === undefined}>
          Log this run
        </button>
      </div>
      <div class="row">
        <button type="button" disabled={!complete} onClick={() => log({ ranOff: {} })}>
          It ran off the wall
        </button>
        <button type="button" disabled={!complete} onClick={() => log({ didNotMove: {} })}>
          It did not move
        </button>
      </div>
      <details>
        <summary>More about this tile</summary>
        <div class="stack">
          <div class="pair">
            <NumberField label="Or up to" hint="When you can only say: between the run above and this." value={upTo} min={0} max={2000} unit="length" onValue={setUpTo} />
            <NumberField label="Mean front" hint="Not the longest drip, the whole edge." value={meanFront} min={0} max={2000} unit="length" onValue={setMeanFront} />
          </div>
          <div class="pair">
            <NumberField label="Reading error" hint={`One standard deviation; ${length(1, unit.value)} unless you say.`} value={readingError} min={0.1} max={20} unit="length" onValue={setReadingError} />
            <TextField label="Witness cone by the tile" hint={firing ? `Fired as ${firing.displayName}.` : "As read, such as 6 or 6.3."} value={cone} onValue={setCone} maxLength={12} />
          </div>
          <div class="pair">
            <TextField label="Day of the firing" type="date" value={date} onValue={setDate} />
            <TextField label="Applied and read by" value={tester.value} onValue={(v) => (tester.value = v)} maxLength={60} hint="Remembered in this browser." />
          </div>
          <TextField label="Notes" value={notes} onValue={setNotes} lines={2} maxLength={4000} />
          <Tick label="Keep it, but do not learn from it" value={aside} onValue={setAside} />
        </div>
      </details>
      <p role="status">{logged && <Fate requestId={logged} />}</p>
    </form>
  );
}

// What became of a tile that was just logged.
function Fate({ requestId }: { requestId: string }) {
  const waiting = pending.value.find((p) => p.requestId === requestId);
  if (waiting?.refused) return <span class="fault">The server refused it: {waiting.refused}. It is kept under Tiles.</span>;
  if (waiting) return <span class="saved">Kept on this device; it will be sent when the server answers.</span>;
  const tile = taken.value.find((t) => t.requestId === requestId)?.tile;
  if (!tile) return null;
  const said = tile.prediction;
  return (
    <span class="saved">
      Logged.{" "}
      {said && `It was said beforehand: ${length(said.medianRunMm ?? 0, unit.value)}, 80 % between ${length(said.runP10Mm ?? 0, unit.value)} and ${length(said.runP90Mm ?? 0, unit.value)}.`}
    </span>
  );
}
