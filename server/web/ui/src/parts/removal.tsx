// Deletes something, after it was said what depends on it.
import { newRequestId } from "../api/client";
import { useSaving } from "../saving";
import { confirmed } from "./ask";
import { Failed } from "./states";

interface Removal {
  label?: string;
  name: string;
  uses(): Promise<string[]>;
  onRemove(requestId: string): Promise<unknown>;
}

export function RemoveButton({ label = "Delete", name, uses, onRemove }: Removal) {
  const saving = useSaving();
  const remove = () =>
    saving.run(async () => {
      const found = await uses();
      const sure = await confirmed(
        `Delete ${name}?`,
        <>
          {found.length > 0 ? (
            <>
              <p>These use it:</p>
              <ul class="plain-list">
                {found.map((line) => (
                  <li key={line}>{line}</li>
                ))}
              </ul>
            </>
          ) : (
            <p>Nothing uses it.</p>
          )}
          <p>
            <strong>This cannot be undone.</strong>
          </p>
        </>,
        `Delete ${name}`,
      );
      if (sure) await onRemove(newRequestId());
    });
  return (
    <>
      <button type="button" disabled={saving.busy} onClick={remove}>
        {label}
      </button>
      {saving.problem && <Failed problem={saving.problem} />}
    </>
  );
}
