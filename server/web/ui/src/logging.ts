// The one queue of this browser, wired to the server, the network and the screen.
import { computed, signal } from "@preact/signals";
import { answer, api, keyTurn } from "./api/client";
import { Problem } from "./api/problem";
import type { Tile } from "./api/types";
import { fieldWords, withoutPaths } from "./paths";
import { Queue, type Outcome, type Pending } from "./queue";

export const pending = signal<Pending[]>([]);
export const pendingCount = computed(() => pending.value.length);
// Tiles that the server took since the page was opened, newest first.
export const taken = signal<{ requestId: string; studio: string; tile: Tile }[]>([]);

async function send({ studio, requestId, tile }: Pending): Promise<Outcome> {
  try {
    const stored = await answer(
      api.POST("/v1/studios/{studio}/tiles", {
        params: { path: { studio }, query: { requestId } },
        body: tile,
        signal: AbortSignal.timeout(15_000),
      }),
    );
    taken.value = [{ requestId, studio, tile: stored }, ...taken.value];
    return { sent: true };
  } catch (cause) {
    if (!(cause instanceof Problem)) return { sent: false, passing: true, why: "The server did not answer in time." };
    const paths = cause.fields.map((f) => f.field);
    const why = [withoutPaths(cause.message, paths), ...cause.fields.map((f) => `${fieldWords(f.field)}: ${withoutPaths(f.description, paths)}`)].join(" · ");
    return { sent: false, passing: cause.passing, why };
  }
}

const queue = new Queue({ storage: localStorage, send, changed: (all) => (pending.value = all), now: Date.now });
pending.value = queue.all();

let retry: ReturnType<typeof setTimeout> | undefined;
const FIRST_WAIT_MS = 3_000;
let wait = FIRST_WAIT_MS;

// Tries again with growing pauses while anything is kept; at once when the network or a key comes back.
async function flush() {
  clearTimeout(retry);
  await queue.flush();
  if (queue.all().some((p) => p.refused === undefined)) {
    retry = setTimeout(flush, wait);
    wait = Math.min(wait * 2, 60_000);
  } else wait = FIRST_WAIT_MS;
}

export function logTile(requestId: string, studio: string, tile: Tile) {
  queue.add(requestId, studio, tile);
  void flush();
}

export function sendNow() {
  wait = FIRST_WAIT_MS;
  void flush();
}

export function dropPending(requestId: string) {
  queue.drop(requestId);
}

export function keepSending() {
  addEventListener("online", sendNow);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && sendNow());
  addEventListener("storage", () => (pending.value = queue.all()));
  keyTurn.subscribe(sendNow);
}
