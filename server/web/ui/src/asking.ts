// Asks the server again whenever the question changes: after a short pause, dropping the answer to an older question.
import { useEffect, useRef, useState } from "preact/hooks";
import { keyTurn } from "./api/client";
import { Problem } from "./api/problem";

export interface Asked<T> {
  // The newest answer; stays on the screen while the next is on its way.
  value?: T;
  problem?: Problem;
  busy: boolean;
}

// `question` is null while there is nothing to ask. It is compared by its JSON.
export function useAnswer<Q, T>(
  question: Q | null,
  ask: (question: Q, signal: AbortSignal) => Promise<T>,
  pauseMs = 50,
): Asked<T> {
  const [asked, setAsked] = useState<Asked<T>>({ busy: question !== null });
  const first = useRef(true);
  const text = question === null ? null : JSON.stringify(question);
  const turn = keyTurn.value;

  useEffect(() => {
    if (text === null) {
      setAsked({ busy: false });
      return;
    }
    const controller = new AbortController();
    setAsked((before) => ({ ...before, busy: true }));
    const start = () =>
      ask(JSON.parse(text) as Q, controller.signal).then(
        (value) => !controller.signal.aborted && setAsked({ value, busy: false }),
        (cause) => {
          if (controller.signal.aborted) return;
          const problem = cause instanceof Problem ? cause : new Problem(0, String(cause));
          setAsked({ problem, busy: false });
        },
      );
    const timer = setTimeout(start, first.current ? 0 : pauseMs);
    first.current = false;
    return () => {
      clearTimeout(timer);
      controller.abort();
    };
  }, [text, turn]);

  return asked;
}
