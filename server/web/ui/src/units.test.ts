import { describe, expect, it } from "vitest";
import { fieldText, fromShown, inReadersUnit, length, measured, percent, readLength, readNumber, toShown } from "./units";

describe("lengths", () => {
  // NIST SP 811 (2008), appendix B.8: inch to metre 2.54 E-02, exact.
  it("converts by the exact inch", () => {
    expect(toShown(25.4, "in")).toBe(1);
    expect(fromShown(1.5, "in")).toBeCloseTo(38.1, 12);
    expect(toShown(12.3, "mm")).toBe(12.3);
  });
  it("comes back to where it started", () => {
    for (const mm of [0, 0.1, 7, 60, 2000]) expect(fromShown(toShown(mm, "in"), "in")).toBeCloseTo(mm, 9);
  });
  it("shows as much as a ruler tells", () => {
    expect(length(8.234, "mm")).toBe("8.2\u00a0mm");
    expect(length(38.1, "mm")).toBe("38\u00a0mm");
    expect(length(38.1, "in")).toBe("1.50\u00a0in");
    expect(length(-0.01, "mm")).toBe("0.0\u00a0mm");
  });
});

it("turns the lengths of a sentence, and nothing else in it", () => {
  expect(inReadersUnit("A cookie of 127 mm, 12.7 mm thick, for 3 coats.", "in")).toBe("A cookie of 5.00\u00a0in, 0.50\u00a0in thick, for 3 coats.");
  expect(inReadersUnit("It ran 12.7 to 25.4 mm.", "in")).toBe("It ran 0.50 to 1.00\u00a0in.");
  expect(inReadersUnit("leave 30 mm and 5 mm²", "in")).toBe("leave 1.18\u00a0in and 5 mm²");
  expect(inReadersUnit("127 mm", "mm")).toBe("127 mm");
});

describe("what a hand types", () => {
  it("takes commas and points", () => {
    expect(readNumber("12,5")).toBe(12.5);
    expect(readNumber(" .5 ")).toBe(0.5);
    expect(readNumber("")).toBeUndefined();
    expect(readNumber("12 mm")).toBeNaN();
    expect(readNumber("1e400")).toBeNaN();
  });
  it("does not guess what a comma before three digits means", () => {
    expect(readNumber("1,222")).toBe("Is that 1222 or 1.222? Write it without the comma.");
    expect(readNumber("0,125")).toBe(0.125);
    expect(readNumber("1222,5")).toBe(1222.5);
  });
  it("takes inches as fractions", () => {
    expect(readLength("1 3/8", "in")).toBeCloseTo(34.925, 9);
    expect(readLength("1-3/8", "in")).toBeCloseTo(34.925, 9);
    expect(readLength("3/4", "in")).toBeCloseTo(19.05, 9);
    expect(readLength("1.5", "in")).toBeCloseTo(38.1, 9);
    for (const text of ["1 3/0", "1 3/", "1/2/3", "3/4 mm"]) expect(readLength(text, "in")).toBeNaN();
    expect(readLength("1 3/8", "mm")).toBeNaN();
  });
  it("shows a measured length as it was read", () => {
    expect(measured(11.5, "mm")).toBe("11.5\u00a0mm");
    expect(measured(12, "mm")).toBe("12\u00a0mm");
    expect(measured(34.925, "in")).toBe("1.375\u00a0in");
  });
  it("fills a field without trailing zeros", () => {
    expect(fieldText(2.5)).toBe("2.5");
    expect(fieldText(undefined)).toBe("");
  });
});

describe("percent", () => {
  it("never rounds a chance to none or to certainty", () => {
    expect(percent(0)).toBe("0\u00a0%");
    expect(percent(0.002)).toBe("under 1\u00a0%");
    expect(percent(0.998)).toBe("over 99\u00a0%");
    expect(percent(0.374)).toBe("37\u00a0%");
  });
});
