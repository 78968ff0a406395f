// Somebody else stored a change first: theirs and mine, field by field.
import { useState } from "preact/hooks";
import type { Draft } from "../entries";
import { differing, inWords, spelt, type Labels } from "../versions";
import { OneOf } from "./fields";

type Side = "theirs" | "mine";

export function Conflict<T extends object>(props: { base: T; mine: Draft<T>; theirs: T; labels: Labels; onSettle(draft: Draft<T>): void }) {
  const { base, theirs, labels } = props;
  const mine = props.mine as object;
  const keys = differing(theirs, mine);
  // What only they changed is theirs, until somebody says otherwise.
  const untouched = new Set(keys.filter((key) => !differing(base, mine).includes(key)));
  const [sides, setSides] = useState<{ [key: string]: Side }>({});
  const sideOf = (key: string): Side => sides[key] ?? (untouched.has(key) ? "theirs" : "mine");
  const settle = (side: (key: string) => Side) => {
    const merged = { ...theirs } as { [key: string]: unknown };
    for (const key of keys) if (side(key) === "mine") merged[key] = (mine as { [key: string]: unknown })[key];
    props.onSettle(merged as Draft<T>);
  };
  return (
    <div class="failed conflict" role="alert">
      <p class="title-line">
        <strong>Somebody else changed this meanwhile</strong>
      </p>
      <p>Nothing of yours is lost. Choose for each field, then store it.</p>
      {keys.map((key) => (
        <div class="versions" key={key}>
          <OneOf
            label={labels[key] ?? spelt(key)}
            value={sideOf(key)}
            options={[
              { value: "theirs", text: `Theirs: ${inWords((theirs as { [key: string]: unknown })[key])}` },
              { value: "mine", text: `Mine: ${inWords((mine as { [key: string]: unknown })[key])}` },
            ]}
            onValue={(side) => setSides({ ...sides, [key]: side as Side })}
          />
        </div>
      ))}
      <p class="row">
        <button type="button" class="main" onClick={() => settle(sideOf)}>
          Use what is chosen
        </button>
        <button type="button" onClick={() => settle(() => "theirs")}>
          Take theirs
        </button>
        <button type="button" onClick={() => settle(() => "mine")}>
          Keep mine
        </button>
      </p>
    </div>
  );
}
