import { afterEach, beforeEach, expect, it, vi } from "vitest";
import { patientFetch } from "./patience";

const address = "http://server.invalid/v1/studios";

beforeEach(() => vi.useFakeTimers());
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

function answering(...statuses: number[]) {
  const asked = vi.fn(async () => new Response(null, { status: statuses.shift() ?? 200, headers: { "Retry-After": "2" } }));
  vi.stubGlobal("fetch", asked);
  return asked;
}

it("comes again when a busy server says", async () => {
  const asked = answering(429, 503, 200);
  const response = patientFetch(new Request(address));
  await vi.advanceTimersByTimeAsync(1999);
  expect(asked).toHaveBeenCalledTimes(1);
  await vi.advanceTimersByTimeAsync(2001);
  expect((await response).status).toBe(200);
  expect(asked).toHaveBeenCalledTimes(3);
});

it("gives up after a while and hands on what the server said", async () => {
  const asked = answering(429, 429, 429, 429, 200);
  const response = patientFetch(new Request(address));
  await vi.advanceTimersByTimeAsync(10_000);
  expect((await response).status).toBe(429);
  expect(asked).toHaveBeenCalledTimes(4);
});

it("asks once where the answer is another one", async () => {
  const asked = answering(404);
  expect((await patientFetch(new Request(address))).status).toBe(404);
  expect(asked).toHaveBeenCalledTimes(1);
});

it("stops waiting for an answer that nobody wants any more", async () => {
  const asked = answering(503);
  const controller = new AbortController();
  const response = patientFetch(new Request(address, { signal: controller.signal }));
  const ended = expect(response).rejects.toMatchObject({ name: "AbortError" });
  await vi.advanceTimersByTimeAsync(10);
  controller.abort();
  await ended;
  expect(asked).toHaveBeenCalledTimes(1);
});
