// Streams of the gateway: one JSON object a line, {"result": …} or {"error": …}.
import { authorization, keyWanted } from "./client";
import { lines } from "./lines";
import { patientFetch } from "./patience";
import { Problem, problemOf } from "./problem";

export async function* stream<T>(path: string, init: RequestInit): AsyncGenerator<T> {
  const headers = { "Content-Type": "application/json", ...authorization() };
  let response: Response;
  try {
    response = await patientFetch(new Request(new URL(path, location.origin), { ...init, headers }));
  } catch (cause) {
    if (cause instanceof DOMException && cause.name === "AbortError") throw cause;
    throw new Problem(0, "The server cannot be reached. Check the network and try again.");
  }
  if (response.status === 401) keyWanted.value = true;
  if (!response.ok || !response.body) throw problemOf(response.status, await response.json().catch(() => null));
  for await (const line of lines(response.body)) {
    const message = JSON.parse(line) as { result?: T; error?: { message?: string } };
    if (message.error) throw problemOf(500, message.error);
    if (message.result) yield message.result;
  }
}
