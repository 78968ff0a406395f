// The public HTTP interface, typed by its OpenAPI description. The pages use nothing else.
import { signal } from "@preact/signals";
import createClient from "openapi-fetch";
import type { paths } from "./schema";
import { patientFetch } from "./patience";
import { Problem, problemOf } from "./problem";

const KEY = "catchline.key";

// True when the server asks for a key that this tab does not have.
export const keyWanted = signal(false);
// Counts accepted keys, so that what failed for want of one is asked again.
export const keyTurn = signal(0);

// True while what is shown comes from this browser's own keeping, since the server was not reached.
export const keptAnswers = signal(false);

export function useKey(secret: string) {
  sessionStorage.setItem(KEY, secret.trim());
  keyWanted.value = false;
  keyTurn.value += 1;
}

export function forgetKey() {
  sessionStorage.removeItem(KEY);
  keyWanted.value = true;
}

export function hasKey(): boolean {
  return sessionStorage.getItem(KEY) !== null;
}

export function authorization(): { [header: string]: string } {
  const secret = sessionStorage.getItem(KEY);
  return secret ? { Authorization: `Bearer ${secret}` } : {};
}

export const api = createClient<paths>({ baseUrl: location.origin, fetch: patientFetch });

api.use({
  onRequest({ request }) {
    for (const [header, value] of Object.entries(authorization())) request.headers.set(header, value);
    return request;
  },
  onResponse({ response }) {
    if (response.status === 401) keyWanted.value = true;
    keptAnswers.value = response.headers.has("Kept-Answer");
  },
});

// The answer, or a Problem that can be shown.
export async function answer<T>(call: Promise<{ data?: T; error?: unknown; response: Response }>): Promise<T> {
  let got;
  try {
    got = await call;
  } catch (cause) {
    if (cause instanceof DOMException && cause.name === "AbortError") throw cause;
    throw new Problem(0, "The server cannot be reached. Check the network and try again.");
  }
  if (got.response.ok) return got.data as T;
  throw problemOf(got.response.status, got.error);
}

// A new request id: a write that is sent again under the same id is done once. crypto.randomUUID is missing on pages
// that come over plain http from another machine, getRandomValues is not.
export function newRequestId(): string {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}
