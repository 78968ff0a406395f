import { expect, it } from "vitest";
import { Queue, type Outcome, type Pending } from "./queue";

class Shelf {
  kept = new Map<string, string>();
  getItem = (key: string) => this.kept.get(key) ?? null;
  setItem = (key: string, value: string) => void this.kept.set(key, value);
}

function queueOn(storage: Shelf, answers: Outcome[], sent: Pending[] = []) {
  return new Queue({
    storage,
    send: async (pending) => {
      sent.push(pending);
      return answers.shift() ?? { sent: true };
    },
    changed: () => undefined,
    now: () => 0,
  });
}

const noNetwork: Outcome = { sent: false, passing: true, why: "no network" };

it("keeps a tile over a lost network and a closed page, and sends it under the same id", async () => {
  const storage = new Shelf();
  const sent: Pending[] = [];
  const before = queueOn(storage, [noNetwork], sent);
  before.add("id-1", "s", { runMm: 12 });
  await before.flush();
  expect(before.all()).toHaveLength(1);

  const after = queueOn(storage, [], sent);
  await after.flush();
  expect(after.all()).toHaveLength(0);
  expect(sent.map((p) => p.requestId)).toEqual(["id-1", "id-1"]);
  expect(sent[0]!.tile).toEqual(sent[1]!.tile);
});

it("keeps the order and stops at the first that cannot be sent now", async () => {
  const sent: Pending[] = [];
  const queue = queueOn(new Shelf(), [{ sent: true }, noNetwork], sent);
  for (const id of ["a", "b", "c"]) queue.add(id, "s", {});
  await queue.flush();
  expect(sent.map((p) => p.requestId)).toEqual(["a", "b"]);
  expect(queue.all().map((p) => p.requestId)).toEqual(["b", "c"]);
});

it("keeps a refused tile with the reason and goes on with the next", async () => {
  const queue = queueOn(new Shelf(), [{ sent: false, passing: false, why: "run_mm is 5000, at most 2000" }]);
  queue.add("a", "s", { runMm: 5000 });
  queue.add("b", "s", { runMm: 5 });
  await queue.flush();
  expect(queue.all()).toMatchObject([{ requestId: "a", refused: "run_mm is 5000, at most 2000" }]);
});

it("does not send a tile twice when two rounds are asked for at once", async () => {
  const sent: Pending[] = [];
  const queue = queueOn(new Shelf(), [], sent);
  queue.add("a", "s", {});
  await Promise.all([queue.flush(), queue.flush()]);
  expect(sent).toHaveLength(1);
});

it("starts empty on spoilt storage", () => {
  const storage = new Shelf();
  storage.setItem("catchline.pending", "{not json");
  expect(queueOn(storage, []).all()).toEqual([]);
});
