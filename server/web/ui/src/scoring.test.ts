import { expect, it } from "vitest";
import { isComplete, placementOf, questionFromQuery, questionOf, questionToQuery, requestOf, usualWall, withoutLower, type Question, type WallChoice } from "./scoring";

const question: Question = {
  body: "white-stoneware",
  layers: [
    { glaze: "ash", lot: "2026-03", coats: 2.5, method: "DIP" },
    { glaze: "night", lot: "", coats: 2, method: "BRUSH", thicknessUm: 300 },
  ],
  firing: "",
  plan: { cone: { cone: "6", holdMin: 10 } },
  wall: {
    ware: "vase",
    angleDeg: 90,
    bandMm: 60,
    clearanceMm: 38.1,
    lower: [{ fromFootMm: 5, bandHeightMm: 10, layering: { layers: [{ glaze: "studios/s/glazes/stiff", coats: 2 }] } }],
  },
  kiln: "north",
  toleratedRisk: 0.05,
};

it("comes back from the address bar as it went in", () => {
  const back = questionFromQuery(new URLSearchParams(questionToQuery(question).toString()));
  expect(JSON.parse(JSON.stringify(back))).toEqual(JSON.parse(JSON.stringify(question)));
});

it("comes back from the service's own request", () => {
  expect(JSON.parse(JSON.stringify(questionOf(requestOf("s", question))))).toEqual(JSON.parse(JSON.stringify(question)));
});

it("says one amount and one firing", () => {
  const request = requestOf("s", { ...question, firing: "cone-6" });
  expect(request.firing).toBe("studios/s/firings/cone-6");
  expect(request.firingPlan).toBeUndefined();
  expect(request.layering?.layers?.[1]).toEqual({ glaze: "studios/s/glazes/night", thicknessUm: 300 });
});

it("survives an address that was cut or made up", () => {
  const q = questionFromQuery(new URLSearchParams("layer=a~x~q&plan={&band=wide&tolerated=no"));
  expect(q.layers).toEqual([{ glaze: "a", lot: "", coats: 2, method: "BRUSH" }]);
  expect(q.plan).toBeUndefined();
  expect(q.wall.bandMm).toBe(60);
  expect(isComplete(q)).toBe(false);
});

const buffer = { fromFootMm: 20, bandHeightMm: 40, layering: { layers: [{ glaze: "studios/s/glazes/stiff", coats: 2 }] } };

it("keeps a buffer band on a straight wall, which has to be a tile for that", () => {
  const wall: WallChoice = { ...usualWall, angleDeg: 80, clearanceMm: 60, bandMm: 20, lower: [buffer] };
  expect(placementOf("s", wall)).toMatchObject({ shape: { tile: { heightMm: 80, angleDeg: 80 } }, lowerBands: [buffer] });
  const back = questionOf(requestOf("s", { ...question, wall })).wall;
  expect(JSON.parse(JSON.stringify(back))).toEqual(JSON.parse(JSON.stringify(wall)));
});

it("lets the band come down where its buffer was, and leaves it where the buffer did not touch it", () => {
  const wall: WallChoice = { ...usualWall, clearanceMm: 60, bandMm: 20, lower: [buffer] };
  expect(withoutLower(wall, buffer)).toMatchObject({ clearanceMm: 20, bandMm: 60, lower: undefined });
  expect(withoutLower({ ...wall, clearanceMm: 70 }, buffer)).toMatchObject({ clearanceMm: 70, bandMm: 20, lower: undefined });
});
