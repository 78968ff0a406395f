import { expect, it } from "vitest";
import { csvLine } from "./download";

it("quotes as RFC 4180, section 2 says, and defuses formulas", () => {
  expect(csvLine(["plain", 1.5])).toBe("plain,1.5\r\n");
  expect(csvLine(['aaa"b', "c,d", "e\nf"])).toBe('"aaa""b","c,d","e\nf"\r\n');
  expect(csvLine(["=1+1", -2])).toBe("'=1+1,-2\r\n");
  expect(csvLine([" =1", "＝1", "|calc", "plain|text"])).toBe("' =1,'＝1,'|calc,plain|text\r\n");
});
