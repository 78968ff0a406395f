// Mends what was read off a tile that is logged already.
import { useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import { Problem } from "../api/problem";
import type { Tile } from "../api/types";
import { idOf } from "../names";
import { useSaving } from "../saving";
import { NumberField, OneOf, TextField } from "./fields";
import { Failed } from "./states";

type Outcome = "run" | "interval" | "off" | "still";

function outcomeOf(t: Tile): Outcome {
  return t.runInterval ? "interval" : t.ranOff ? "off" : t.didNotMove ? "still" : "run";
}

// `onStored` is called when something else is stored than `tile`: after a change, and where somebody else was quicker.
export function ReadingEditor({ studio, tile, onStored }: { studio: string; tile: Tile; onStored(): void }) {
  const [outcome, setOutcome] = useState<Outcome>(outcomeOf(tile));
  const [run, setRun] = useState(tile.runMm ?? tile.runInterval?.fromMm);
  const [upTo, setUpTo] = useState(tile.runInterval?.toMm);
  const [meanFront, setMeanFront] = useState(tile.meanFrontMm);
  const [readingError, setReadingError] = useState(tile.readingErrorMm);
  const [notes, setNotes] = useState(tile.notes ?? "");
  const saving = useSaving();

  const measured = outcome === "run" || outcome === "interval";
  const whole = !measured || (run !== undefined && (outcome === "run" || (upTo !== undefined && upTo > run)));

  const save = () =>
    saving.run(async () => {
      const body: Tile = { etag: tile.etag, notes: notes.trim() };
      if (outcome === "run") body.runMm = run;
      if (outcome === "interval") body.runInterval = { fromMm: run, toMm: upTo };
      if (outcome === "off") body.ranOff = {};
      if (outcome === "still") body.didNotMove = {};
      if (measured && meanFront !== undefined) body.meanFrontMm = meanFront;
      if (readingError !== undefined) body.readingErrorMm = readingError;
      const reading = { run: "run_mm", interval: "run_interval", off: "ran_off", still: "did_not_move" }[outcome];
      try {
        await answer(
          api.PATCH("/v1/studios/{tile.name}/tiles/{tile.name_1}", {
            params: {
              path: { "tile.name": studio, "tile.name_1": idOf(tile.name) },
              query: { updateMask: `${reading},mean_front_mm,reading_error_mm,notes`, requestId: newRequestId() },
            },
            body,
          }),
        );
      } catch (cause) {
        if (cause instanceof Problem && cause.outdated) onStored();
        throw cause;
      }
      onStored();
    }, "Saved.");

  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void save();
      }}
    >
      <OneOf
        label="What came out"
        value={outcome}
        options={[
          { value: "run", text: "A run" },
          { value: "interval", text: "Between two" },
          { value: "off", text: "Ran off the wall" },
          { value: "still", text: "Did not move" },
        ]}
        onValue={(v) => setOutcome(v as Outcome)}
      />
      {measured && (
        <div class="pair">
          <NumberField label={outcome === "run" ? "Run of the longest drip" : "Longest drip at least"} value={run} min={0} max={2000} unit="length" required onValue={setRun} />
          {outcome === "interval" && (
            <NumberField
              label="And at most"
              value={upTo}
              min={0}
              max={2000}
              unit="length"
              required
              fault={run !== undefined && upTo !== undefined && upTo <= run ? "Has to be more than the least." : undefined}
              onValue={setUpTo}
            />
          )}
          <NumberField label="Mean of the front" hint="Not the longest drip, the whole edge." value={meanFront} min={0} max={2000} unit="length" onValue={setMeanFront} />
        </div>
      )}
      <NumberField label="Error of the reading" hint="One standard deviation." value={readingError} min={0.1} max={20} unit="length" onValue={setReadingError} />
      <TextField label="Notes on the tile" value={notes} onValue={setNotes} lines={2} maxLength={4000} />
      <p class="hint">What was said beforehand stays as it was said.</p>
      <p class="row">
        <button type="submit" class="main" disabled={!whole || saving.busy}>
          Save the reading
        </button>
      </p>
      {saving.problem?.outdated ? (
        <div class="failed" role="alert">
          <p class="title-line">
            <strong>Somebody else changed this tile meanwhile</strong>
          </p>
          <p>Above stands what is stored now; your own numbers are still in the form. Save again to put them in its place.</p>
        </div>
      ) : (
        saving.problem && <Failed problem={saving.problem} />
      )}
    </form>
  );
}
