import { expect, it } from "vitest";
import { lines } from "./lines";

function inPieces(...pieces: string[]): ReadableStream<Uint8Array> {
  const encoder = new TextEncoder();
  return new ReadableStream({
    start(controller) {
      for (const piece of pieces) controller.enqueue(encoder.encode(piece));
      controller.close();
    },
  });
}

it("puts lines together wherever the network cuts them", async () => {
  const got: string[] = [];
  for await (const line of lines(inPieces('{"a"', ":1}\n", '\n{"b":2}\n{"c"', ":3}"))) got.push(line);
  expect(got).toEqual(['{"a":1}', '{"b":2}', '{"c":3}']);
});
