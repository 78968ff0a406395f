import { describe, expect, it } from "vitest";
import { isUnread, numberIn, readEntry, unreadIn, whole, type Draft } from "./entries";
import { readNumber } from "./units";

const limits = { min: 0, max: 60, show: (v: number) => `${v} min`, read: readNumber };

describe("readEntry", () => {
  it("keeps what is no number as it was typed", () => {
    for (const text of ["4O", "15 min", "1e3", "--2", "2..5", "NaN", "0x10", "½"]) expect(readEntry(text, limits)).toEqual({ unread: text, fault: "Not a number." });
  });
  it("keeps what is out of the limits, and names the limit", () => {
    expect(readEntry("61", limits)).toEqual({ unread: "61", fault: "At most 60 min." });
    expect(readEntry("-1", limits)).toEqual({ unread: "-1", fault: "At least 0 min." });
  });
  it("takes an empty field for nothing, unless it is needed", () => {
    expect(readEntry(" ", limits)).toBeUndefined();
    expect(isUnread(readEntry("", { ...limits, required: true }))).toBe(true);
  });
});

describe("whole", () => {
  interface Recipe {
    ingredients: { material: string; amount: number }[];
    loi?: number;
  }
  it("has no value while anything in it cannot be read, however deep", () => {
    const draft: Draft<Recipe> = { ingredients: [{ material: "silica", amount: 20 }, { material: "feldspar", amount: { unread: "4O", fault: "Not a number." } }] };
    expect(whole<Recipe>(draft)).toBeUndefined();
    expect(unreadIn(draft)).toHaveLength(1);
    draft.ingredients[1]!.amount = 40;
    expect(whole<Recipe>(draft)).toEqual({ ingredients: [{ material: "silica", amount: 20 }, { material: "feldspar", amount: 40 }] });
  });
  it("survives being kept as text", () => {
    const draft: Draft<Recipe> = { ingredients: [], loi: { unread: "8 %", fault: "Not a number." } };
    expect(whole<Recipe>(JSON.parse(JSON.stringify(draft)) as Draft<Recipe>)).toBeUndefined();
    expect(numberIn(draft.loi)).toBeUndefined();
  });
});
