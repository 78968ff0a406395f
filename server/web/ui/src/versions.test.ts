import { expect, it } from "vitest";
import { differing, inWords } from "./versions";

it("says in which fields two versions differ", () => {
  expect(differing({ displayName: "Ash", notes: "old", etag: "1" }, { displayName: "Ash", notes: "new", surface: "SURFACE_GLOSS" })).toEqual(["notes", "surface"]);
});

it("says a value in words", () => {
  expect(inWords({ ingredients: [{ material: "silica", amount: 20 }, { material: "whiting", amount: { unread: "1O", fault: "" } }] })).toBe("ingredients silica 20, whiting 1O");
  expect(inWords("SURFACE_SATIN")).toBe("satin");
  expect(inWords("studios/north/firings/cone-6")).toBe("cone-6");
  expect(inWords({ cone: "6", holdMin: 10 })).toBe("cone 6, hold min 10");
  expect(inWords(undefined)).toBe("empty");
});
