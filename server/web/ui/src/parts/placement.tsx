// Where the band lies and on which wall.
import type { Glaze, LowerBand } from "../api/types";
import { isUnread, whole, type Draft } from "../entries";
import { glazes, ready, wares } from "../lists";
import { idOf, optionsOf } from "../names";
import { withoutLower, type WallChoice } from "../scoring";
import { unit } from "../preferences";
import { length } from "../units";
import { Choice, NumberField } from "./fields";

export function WallEditor({ studio, wall, onWall }: { studio: string; wall: Draft<WallChoice>; onWall(wall: Draft<WallChoice>): void }) {
  const known = ready(wares(studio));
  const names = ready(glazes(studio));
  const ware = known.find((w) => idOf(w.name) === wall.ware);
  const readable = whole<WallChoice>(wall);
  const change = (next: Partial<Draft<WallChoice>>) => onWall({ ...wall, ...next });
  return (
    <>
      <Choice
        label="Ware or tile"
        value={wall.shape ? "given" : wall.ware || "tile"}
        options={[
          { value: "tile", text: "Test tile, straight wall" },
          ...(wall.shape ? [{ value: "given", text: "A shape from the link" }] : []),
          ...optionsOf(known, (w) => (w.wallLengthMm ? `wall ${length(w.wallLengthMm, unit.value)}` : "")),
        ]}
        hint={ware?.wallLengthMm ? `Its wall is ${length(ware.wallLengthMm, unit.value)} from foot to rim.` : undefined}
        onValue={(v) => v !== "given" && change({ ware: v === "tile" ? "" : v, shape: undefined, lower: undefined })}
      />
      {!wall.ware && !wall.shape && (
        <NumberField label="Lean, from level" value={wall.angleDeg} min={0} max={90} step={5} unit="°" hint="90° stands upright." required onValue={(v) => change({ angleDeg: v! })} />
      )}
      <div class="pair">
        <NumberField label="Bare wall below" value={wall.clearanceMm} min={0} max={2000} step={5} unit="length" required onValue={(v) => change({ clearanceMm: v! })} />
        <NumberField label="Band height" value={wall.bandMm} min={0.1} max={2000} step={5} unit="length" required onValue={(v) => change({ bandMm: v! })} />
      </div>
      {!isUnread(wall.clearanceMm) && !isUnread(wall.bandMm) && (
        <p class="hint">
          Measured along the wall: the band starts {length(wall.clearanceMm, unit.value)} above the foot and ends at {length(wall.clearanceMm + wall.bandMm, unit.value)}.
        </p>
      )}
      {readable && readable.lower?.map((b) => (
        <p class="notice" key={b.fromFootMm}>
          A buffer of {bandText(b, names)} lies below, from {length(b.fromFootMm ?? 0, unit.value)} to {length((b.fromFootMm ?? 0) + (b.bandHeightMm ?? 0), unit.value)} above the foot.{" "}
          <button type="button" class="plain" onClick={() => onWall(withoutLower(readable, b))}>
            Take the buffer away
          </button>
        </p>
      ))}
    </>
  );
}

// What a lower band is made of.
export function bandText(band: LowerBand, names: Glaze[]): string {
  return (band.layering?.layers ?? [])
    .map((l) => `${names.find((g) => g.name === l.glaze)?.displayName ?? idOf(l.glaze)}${l.coats ? `, ${l.coats} ${l.coats === 1 ? "coat" : "coats"}` : ""}`)
    .reverse()
    .join(" over ");
}
