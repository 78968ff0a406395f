// One write at a time, with what came of it.
import { useState } from "preact/hooks";
import { Problem } from "./api/problem";

export interface Saving {
  busy: boolean;
  done: boolean;
  problem?: Problem;
  run(write: () => Promise<unknown>): Promise<void>;
}

export function useSaving(): Saving {
  const [state, setState] = useState<{ busy: boolean; done: boolean; problem?: Problem }>({ busy: false, done: false });
  return {
    ...state,
    async run(write) {
      setState({ busy: true, done: false });
      try {
        await write();
        setState({ busy: false, done: true });
      } catch (cause) {
        setState({ busy: false, done: false, problem: cause instanceof Problem ? cause : new Problem(0, String(cause)) });
      }
    },
  };
}
