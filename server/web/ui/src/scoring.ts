// The question that Score asks, as it stands in the address bar and as the service wants it.
import type { FiringPlan, Layer, Layering, LowerBand, Placement, ScoreLayeringRequest, TileShape, WareShape } from "./api/types";
import { idOf, lotName, nameOf } from "./names";

export type Method = "BRUSH" | "DIP" | "SPRAY" | "POUR";

export interface LayerChoice {
  glaze: string;
  lot: string;
  coats: number;
  method: Method;
  // Set where a layer is given by its thickness instead of coats.
  thicknessUm?: number;
  dryMassGPerCm2?: number;
}

export interface WallChoice {
  // A stored ware's id; empty: a straight wall at the angle.
  ware: string;
  angleDeg: number;
  shape?: WareShape;
  bandMm: number;
  clearanceMm: number;
  lower?: LowerBand[];
}

export interface Question {
  body: string;
  layers: LayerChoice[];
  // A stored firing's id; empty: the plan.
  firing: string;
  plan?: FiringPlan;
  wall: WallChoice;
  kiln: string;
  toleratedRisk?: number;
}

// The placement that the service takes where none is said.
export const usualWall: WallChoice = { ware: "", angleDeg: 90, bandMm: 60, clearanceMm: 30 };

export function newLayer(glaze: string): LayerChoice {
  return { glaze, lot: "", coats: 2, method: "BRUSH" };
}

const methodLetters: { [letter: string]: Method } = { b: "BRUSH", d: "DIP", s: "SPRAY", p: "POUR" };

function layerText(l: LayerChoice): string {
  const amount = l.thicknessUm !== undefined ? `${l.thicknessUm}um` : l.dryMassGPerCm2 !== undefined ? `${l.dryMassGPerCm2}g` : `${l.coats}`;
  return [l.glaze, amount, l.method[0]!.toLowerCase(), l.lot].join("~").replace(/~+$/, "");
}

function readLayer(text: string): LayerChoice {
  const [glaze = "", amount = "2", letter = "b", lot = ""] = text.split("~");
  const layer: LayerChoice = { glaze, lot, coats: 2, method: methodLetters[letter] ?? "BRUSH" };
  const n = parseFloat(amount);
  if (!Number.isFinite(n)) return layer;
  if (amount.endsWith("um")) layer.thicknessUm = n;
  else if (amount.endsWith("g")) layer.dryMassGPerCm2 = n;
  else layer.coats = n;
  return layer;
}

function readJSON<T>(text: string | null): T | undefined {
  if (!text) return undefined;
  try {
    return JSON.parse(text) as T;
  } catch {
    return undefined;
  }
}

function readNumberParameter(q: URLSearchParams, key: string, fallback: number): number {
  const n = parseFloat(q.get(key) ?? "");
  return Number.isFinite(n) ? n : fallback;
}

export function questionToQuery(q: Question): URLSearchParams {
  const query = new URLSearchParams();
  for (const l of q.layers) query.append("layer", layerText(l));
  if (q.body) query.set("body", q.body);
  if (q.firing) query.set("firing", q.firing);
  else if (q.plan) query.set("plan", JSON.stringify(q.plan));
  if (q.wall.ware) query.set("ware", q.wall.ware);
  else if (q.wall.shape) query.set("shape", JSON.stringify(q.wall.shape));
  else if (q.wall.angleDeg !== 90) query.set("angle", String(q.wall.angleDeg));
  query.set("band", String(round(q.wall.bandMm)));
  query.set("clearance", String(round(q.wall.clearanceMm)));
  if (q.wall.lower?.length) query.set("lower", JSON.stringify(q.wall.lower));
  if (q.kiln) query.set("kiln", q.kiln);
  if (q.toleratedRisk !== undefined) query.set("tolerated", String(q.toleratedRisk));
  return query;
}

// A tenth of a micrometre is enough for an address.
function round(mm: number): number {
  return Math.round(mm * 1e4) / 1e4;
}

export function questionFromQuery(query: URLSearchParams): Question {
  const tolerated = readNumberParameter(query, "tolerated", NaN);
  return {
    body: query.get("body") ?? "",
    layers: query.getAll("layer").slice(0, 8).map(readLayer),
    firing: query.get("firing") ?? "",
    plan: readJSON<FiringPlan>(query.get("plan")),
    wall: {
      ware: query.get("ware") ?? "",
      shape: readJSON<WareShape>(query.get("shape")),
      angleDeg: readNumberParameter(query, "angle", 90),
      bandMm: readNumberParameter(query, "band", usualWall.bandMm),
      clearanceMm: readNumberParameter(query, "clearance", usualWall.clearanceMm),
      lower: readJSON<LowerBand[]>(query.get("lower")),
    },
    kiln: query.get("kiln") ?? "",
    toleratedRisk: Number.isNaN(tolerated) ? undefined : tolerated,
  };
}

function layerOf(studio: string, l: LayerChoice): Layer {
  const layer: Layer = { glaze: nameOf(studio, "glazes", l.glaze) };
  if (l.lot) layer.lot = lotName(studio, l.glaze, l.lot);
  if (l.thicknessUm !== undefined) layer.thicknessUm = l.thicknessUm;
  else if (l.dryMassGPerCm2 !== undefined) layer.dryMassGPerCm2 = l.dryMassGPerCm2;
  else {
    layer.coats = l.coats;
    layer.method = `APPLICATION_METHOD_${l.method}`;
  }
  return layer;
}

export function layeringOf(studio: string, layers: LayerChoice[], body: string): Layering {
  const layering: Layering = { layers: layers.map((l) => layerOf(studio, l)) };
  if (body) layering.body = nameOf(studio, "bodies", body);
  return layering;
}

export function placementOf(studio: string, wall: WallChoice): Placement {
  const placement: Placement = { bandHeightMm: wall.bandMm, clearanceMm: wall.clearanceMm };
  if (wall.ware) placement.ware = nameOf(studio, "wares", wall.ware);
  else if (wall.shape) placement.shape = wall.shape;
  else if (wall.lower?.length) placement.shape = { tile: bandedTile(wall) };
  else placement.angleDeg = wall.angleDeg;
  if (wall.lower?.length) placement.lowerBands = wall.lower;
  return placement;
}

// The service takes bands below the scored one only on a wall with an end: a tile as high as the band reaches, and as wide
// as it takes a straight wall to be.
function bandedTile(wall: WallChoice): TileShape {
  return { heightMm: wall.clearanceMm + wall.bandMm, widthMm: 50, angleDeg: wall.angleDeg };
}

// Takes one lower band away. Where it touches the scored band, that comes down into its place.
export function withoutLower(wall: WallChoice, band: LowerBand): WallChoice {
  const from = band.fromFootMm ?? 0;
  const touches = Math.abs(from + (band.bandHeightMm ?? 0) - wall.clearanceMm) < 0.01;
  const clearanceMm = touches ? from : wall.clearanceMm;
  const lower = wall.lower?.filter((b) => b !== band);
  return { ...wall, clearanceMm, bandMm: wall.bandMm + wall.clearanceMm - clearanceMm, lower: lower?.length ? lower : undefined };
}

export function isComplete(q: Question): boolean {
  return q.layers.length > 0 && q.layers.every((l) => l.glaze !== "") && (q.firing !== "" || q.plan !== undefined);
}

export function requestOf(studio: string, q: Question): ScoreLayeringRequest {
  const request: ScoreLayeringRequest = {
    parent: `studios/${studio}`,
    layering: layeringOf(studio, q.layers, q.body),
    placement: placementOf(studio, q.wall),
  };
  if (q.firing) request.firing = nameOf(studio, "firings", q.firing);
  else if (q.plan) request.firingPlan = q.plan;
  if (q.kiln) request.kiln = q.kiln;
  if (q.toleratedRisk !== undefined) request.toleratedRisk = q.toleratedRisk;
  return request;
}

function layerChoiceOf(l: Layer): LayerChoice {
  const method = (l.method ?? "").replace("APPLICATION_METHOD_", "");
  const choice: LayerChoice = {
    glaze: idOf(l.glaze),
    lot: idOf(l.lot),
    coats: l.coats ?? 2,
    method: Object.values(methodLetters).find((m) => m === method) ?? "BRUSH",
  };
  if (l.thicknessUm !== undefined) choice.thicknessUm = l.thicknessUm;
  if (l.dryMassGPerCm2 !== undefined) choice.dryMassGPerCm2 = l.dryMassGPerCm2;
  return choice;
}

export function layerChoicesOf(layering: Layering | undefined): LayerChoice[] {
  return (layering?.layers ?? []).map(layerChoiceOf);
}

export function wallChoiceOf(p: Placement | undefined): WallChoice {
  const wall: WallChoice = {
    ware: idOf(p?.ware),
    angleDeg: p?.angleDeg ?? 90,
    bandMm: p?.bandHeightMm ?? usualWall.bandMm,
    clearanceMm: p?.clearanceMm ?? usualWall.clearanceMm,
  };
  if (p?.lowerBands?.length) wall.lower = p.lowerBands;
  const tile = p?.shape?.tile;
  if (tile && wall.lower) {
    const straight = { ...wall, angleDeg: tile.angleDeg ?? 90 };
    const asked = bandedTile(straight);
    if (Math.abs((tile.heightMm ?? 0) - asked.heightMm!) < 0.01 && tile.widthMm === asked.widthMm) return straight;
  }
  if (p?.shape) wall.shape = p.shape;
  return wall;
}

// The question behind a request that the service made, as in advice.
export function questionOf(r: ScoreLayeringRequest): Question {
  const q: Question = {
    body: idOf(r.layering?.body),
    layers: layerChoicesOf(r.layering),
    firing: idOf(r.firing),
    wall: wallChoiceOf(r.placement),
    kiln: r.kiln ?? "",
  };
  if (r.firingPlan) q.plan = r.firingPlan;
  if (r.toleratedRisk !== undefined) q.toleratedRisk = r.toleratedRisk;
  return q;
}
