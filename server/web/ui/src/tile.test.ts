import { describe, expect, it } from "vitest";
import { blankReading, changedFields, doubtOf, formOfTile, tileOf, type Reading } from "./tile";
import type { Tile } from "./api/types";

const tile: Tile = {
  layering: { layers: [{ glaze: "studios/s/glazes/a", coats: 2, method: "APPLICATION_METHOD_DIP", lot: "studios/s/glazes/a/lots/l" }], body: "studios/s/bodies/b" },
  firing: "studios/s/firings/f",
  kiln: "north",
  placement: { bandHeightMm: 50, clearanceMm: 25, angleDeg: 80 },
  runInterval: { fromMm: 10, toMm: 12 },
  meanFrontMm: 6,
  witnessCone: { cone: "6", coneType: "CONE_TYPE_SMALL" },
  tester: "t",
  fireDate: "2026-01-02",
  notes: "n",
  photoUri: "https://example.org/x",
  setAside: true,
};

it("turns a tile into a form and back without loss", () => {
  const form = formOfTile(tile);
  expect(tileOf("s", form, form, tile)).toEqual(tile);
});

it("names only what was changed", () => {
  const form = formOfTile(tile);
  expect(changedFields(form, form)).toEqual([]);
  expect(changedFields(form, { ...form, outcome: "off", notes: "m" })).toEqual(["ran_off", "mean_front_mm", "notes"]);
  expect(changedFields(form, { ...form, layers: [{ ...form.layers[0]!, coats: 3 }], firing: "g" })).toEqual(["layering", "firing"]);
});

describe("doubtOf", () => {
  const said = { medianRunMm: 58, runP01Mm: 14, runP99Mm: 150 };
  const reading = (r: Partial<Reading>): Reading => ({ ...blankReading(""), ...r });
  it("asks about a run that comes less than once in a hundred", () => {
    expect(doubtOf(reading({ runMm: 12 }), 200, said)).toEqual({ pastFoot: false, surprising: true });
    expect(doubtOf(reading({ runMm: 20 }), 200, said)).toEqual({ pastFoot: false, surprising: false });
    expect(doubtOf(reading({ outcome: "still" }), 200, said).surprising).toBe(true);
    expect(doubtOf(reading({ outcome: "interval", runMm: 5, upToMm: 15 }), 200, said).surprising).toBe(false);
    expect(doubtOf(reading({ outcome: "off" }), 30, said).surprising).toBe(false);
    expect(doubtOf(reading({ outcome: "off" }), 200, said).surprising).toBe(true);
  });
  it("asks about a run that is longer than the bare wall", () => {
    expect(doubtOf(reading({ runMm: 31 }), 30, undefined)).toEqual({ pastFoot: true, surprising: false });
    expect(doubtOf(reading({ outcome: "off" }), 30, undefined).pastFoot).toBe(false);
  });
});
