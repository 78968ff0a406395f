// Asks before something is done that cannot be taken back, or that is probably not meant. The frame shows one question at a time.
import { signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import { useEffect, useRef } from "preact/hooks";

interface Question {
  title: string;
  body: ComponentChildren;
  // The answers but for going back, the safest first.
  answers: { value: string; text: string }[];
  answered(value: string): void;
}

const asked = signal<Question | null>(null);

// The value of the answer; empty when somebody goes back.
export function ask(title: string, body: ComponentChildren, answers: Question["answers"]): Promise<string> {
  return new Promise((resolve) => {
    asked.value?.answered("");
    asked.value = {
      title,
      body,
      answers,
      answered: (value) => {
        asked.value = null;
        resolve(value);
      },
    };
  });
}

export async function confirmed(title: string, body: ComponentChildren, yes: string): Promise<boolean> {
  return (await ask(title, body, [{ value: "yes", text: yes }])) === "yes";
}

export function AskDialog() {
  const dialog = useRef<HTMLDialogElement>(null);
  const question = asked.value;
  useEffect(() => {
    if (question) dialog.current?.showModal();
    else dialog.current?.close();
  }, [question]);
  return (
    <dialog ref={dialog} class="ask" aria-labelledby="ask-title" onCancel={() => question?.answered("")}>
      {question && (
        <div class="stack">
          <h2 id="ask-title">{question.title}</h2>
          {question.body}
          <p class="row">
            <button type="button" onClick={() => question.answered("")}>
              Back
            </button>
            {question.answers.map((a) => (
              <button key={a.value} type="button" onClick={() => question.answered(a.value)}>
                {a.text}
              </button>
            ))}
          </p>
        </div>
      )}
    </dialog>
  );
}
