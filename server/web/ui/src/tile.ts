// A tile as somebody types it: how it was layered, fired and placed, and what came out.
import type { Score, Tile } from "./api/types";
import { idOf, nameOf } from "./names";
import { layerChoicesOf, layeringOf, placementOf, usualWall, wallChoiceOf, type Question } from "./scoring";

export type Outcome = "run" | "interval" | "off" | "still";

export interface Reading {
  outcome: Outcome;
  runMm?: number;
  upToMm?: number;
  meanFrontMm?: number;
  readingErrorMm?: number;
  fireDate: string;
  cone: string;
  tester: string;
  notes: string;
  photoUri: string;
  setAside: boolean;
  etag?: string;
}

export type TileForm = Question & Reading;

// The day by the reader's own calendar.
export function today(): string {
  const now = new Date();
  const two = (n: number) => String(n).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

export function blankReading(tester: string): Reading {
  return { outcome: "run", fireDate: today(), cone: "", tester, notes: "", photoUri: "", setAside: false };
}

export function questionOfTile(tile: Tile): Question {
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

export function formOfTile(tile: Tile): TileForm {
  return {
    ...questionOfTile(tile),
    outcome: tile.runInterval ? "interval" : tile.ranOff ? "off" : tile.didNotMove ? "still" : "run",
    runMm: tile.runMm ?? tile.runInterval?.fromMm,
    upToMm: tile.runInterval?.toMm,
    meanFrontMm: tile.meanFrontMm,
    readingErrorMm: tile.readingErrorMm,
    fireDate: tile.fireDate ?? "",
    cone: tile.witnessCone?.cone ?? "",
    tester: tile.tester ?? "",
    notes: tile.notes ?? "",
    photoUri: tile.photoUri ?? "",
    setAside: tile.setAside ?? false,
    etag: tile.etag,
  };
}

export function isMeasured(outcome: Outcome): boolean {
  return outcome === "run" || outcome === "interval";
}

// The tile without its etag. `before` is the tile that is changed, whose size of cone stays.
export function tileOf(studio: string, q: Question, r: Reading, before?: Tile): Tile {
  const tile: Tile = { layering: layeringOf(studio, q.layers, q.body), placement: placementOf(studio, q.wall), kiln: q.kiln.trim() };
  if (q.firing) tile.firing = nameOf(studio, "firings", q.firing);
  else if (q.plan) tile.firingPlan = q.plan;
  if (r.outcome === "run") tile.runMm = r.runMm;
  if (r.outcome === "interval") tile.runInterval = { fromMm: r.runMm, toMm: r.upToMm };
  if (r.outcome === "off") tile.ranOff = {};
  if (r.outcome === "still") tile.didNotMove = {};
  if (isMeasured(r.outcome) && r.meanFrontMm !== undefined) tile.meanFrontMm = r.meanFrontMm;
  if (r.readingErrorMm !== undefined) tile.readingErrorMm = r.readingErrorMm;
  if (r.cone.trim()) tile.witnessCone = { ...before?.witnessCone, cone: r.cone.trim() };
  tile.fireDate = r.fireDate;
  tile.tester = r.tester.trim();
  tile.notes = r.notes.trim();
  tile.photoUri = r.photoUri.trim();
  tile.setAside = r.setAside;
  return tile;
}

// The fields of the contract in which two versions of a form differ. What is not named stays as it is stored, and so does what
// was said beforehand as long as layers, firing and wall do.
export function changedFields(before: TileForm, after: TileForm): string[] {
  const fields: { [field: string]: (f: TileForm) => unknown } = {
    layering: (f) => [f.layers, f.body],
    [after.firing ? "firing" : "firing_plan"]: (f) => [f.firing, f.firing ? undefined : f.plan],
    placement: (f) => f.wall,
    kiln: (f) => f.kiln,
    [{ run: "run_mm", interval: "run_interval", off: "ran_off", still: "did_not_move" }[after.outcome]]: (f) => [f.outcome, f.runMm, f.outcome === "interval" ? f.upToMm : undefined],
    mean_front_mm: (f) => [f.meanFrontMm, isMeasured(f.outcome)],
    reading_error_mm: (f) => f.readingErrorMm,
    witness_cone: (f) => f.cone,
    fire_date: (f) => f.fireDate,
    tester: (f) => f.tester,
    notes: (f) => f.notes,
    photo_uri: (f) => f.photoUri,
    set_aside: (f) => f.setAside,
  };
  const text = (of: unknown) => JSON.stringify(of) ?? "";
  return Object.keys(fields).filter((field) => text(fields[field]!(before)) !== text(fields[field]!(after)));
}

export interface Doubt {
  // The run is longer than the bare wall: it may have run off.
  pastFoot: boolean;
  // The run lies outside what comes 98 times in a hundred.
  surprising: boolean;
}

// What makes a reading look like a slip of the thumb.
export function doubtOf(r: Reading, bareMm: number, said: Score | undefined): Doubt {
  const low = r.outcome === "still" ? 0 : r.outcome === "off" ? bareMm : (r.runMm ?? 0);
  const high = r.outcome === "still" ? (r.readingErrorMm ?? 1) : r.outcome === "off" ? Infinity : r.outcome === "interval" ? (r.upToMm ?? low) : low;
  return {
    pastFoot: isMeasured(r.outcome) && low > bareMm,
    surprising: said?.runP01Mm !== undefined && said.runP99Mm !== undefined && (high < said.runP01Mm || low > said.runP99Mm),
  };
}

// The bare length below the band of a tile.
export function bareOf(tile: Tile): number {
  return tile.placement?.clearanceMm ?? usualWall.clearanceMm;
}
