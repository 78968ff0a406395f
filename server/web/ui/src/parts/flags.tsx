// What makes a score less sure than it looks, and the scores of many combinations.
import type { Flag, SheetFlag } from "../api/types";
import { firings, ready } from "../lists";
import { idOf } from "../names";
import { unit } from "../preferences";
import { inReadersUnit } from "../units";

export function Flags({ flags }: { flags: Flag[] | undefined }) {
  if (!flags || flags.length === 0) return null;
  return (
    <ul class="flags" aria-label="What makes this less sure">
      {flags.map((f) => (
        <li key={f.sentence}>{inReadersUnit(f.sentence ?? "", unit.value)}</li>
      ))}
    </ul>
  );
}

export function SheetFlags({ studio, flags }: { studio: string; flags: SheetFlag[] | undefined }) {
  if (!flags || flags.length === 0) return null;
  const known = ready(firings(studio));
  const where = (f: SheetFlag) => (f.firing ? `${known.find((k) => k.name === f.firing)?.displayName ?? idOf(f.firing)}: ` : "");
  return (
    <section class="sure">
      <h3>Less sure than it looks</h3>
      <Flags flags={flags.map((f) => ({ sentence: where(f) + f.sentence }))} />
    </section>
  );
}
