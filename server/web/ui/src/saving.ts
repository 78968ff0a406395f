// One write at a time, with what came of it. That it was done is said by the frame, since the form that wrote is often
// made anew from what it wrote.
import { signal } from "@preact/signals";
import { useState } from "preact/hooks";
import { Problem } from "./api/problem";

export const lastDone = signal("");
let fading: ReturnType<typeof setTimeout> | undefined;

function sayDone(text: string) {
  lastDone.value = text;
  clearTimeout(fading);
  fading = setTimeout(() => (lastDone.value = ""), 5_000);
}

export interface Saving {
  busy: boolean;
  problem?: Problem;
  run(write: () => Promise<unknown>, done?: string): Promise<void>;
}

export function useSaving(): Saving {
  const [state, setState] = useState<{ busy: boolean; problem?: Problem }>({ busy: false });
  return {
    ...state,
    async run(write, done) {
      setState({ busy: true });
      try {
        await write();
        setState({ busy: false });
        if (done) sayDone(done);
      } catch (cause) {
        setState({ busy: false, problem: cause instanceof Problem ? cause : new Problem(0, String(cause)) });
      }
    },
  };
}

// Writes, and reads anew what is shown: after a success, and where somebody else was quicker.
export async function thenReread<T>(write: Promise<T>, reread: () => Promise<unknown>): Promise<T> {
  try {
    const stored = await write;
    await reread();
    return stored;
  } catch (cause) {
    if (cause instanceof Problem && cause.outdated) await reread();
    throw cause;
  }
}
