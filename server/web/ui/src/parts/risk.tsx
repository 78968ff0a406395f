// A risk is said three times: by a picture, a word and a number. The picture is a drip above, at and past the catch line.
import type { Risk } from "../api/types";
import { riskRank, riskWord } from "../risk";
import { percent } from "../units";

const drips = [
  "M1 1h14v2.2q-5 0-5 2.3a2 2 0 0 1-4 0q0-2.3-5-2.3z",
  "M1 1h14v2.2q-5 0-5 3v3.3a2 2 0 0 1-4 0V6.2q0-3-5-3z",
  "M1 1h14v2.2q-5 0-5 3v8a2 2 0 0 1-4 0v-8q0-3-5-3z",
  "M1 1h14v2.2q-5 0-5 3V15q4.5 .5 4.5 3.5H1.5Q1.5 15.5 6 15V6.2q0-3-5-3z",
];

export function RiskGlyph({ risk }: { risk: Risk | undefined }) {
  return <RankGlyph rank={riskRank(risk)} />;
}

export function RankGlyph({ rank }: { rank: number }) {
  return (
    <svg class="glyph" viewBox="0 0 16 20" width="16" height="20" aria-hidden="true">
      <path d={drips[rank]} fill="currentColor" />
      <path d="M0 13h4.5M11.5 13H16" stroke="currentColor" stroke-width="1.6" />
    </svg>
  );
}

export function RiskMark({ risk, chance, large }: { risk: Risk | undefined; chance: number | undefined; large?: boolean }) {
  return (
    <span class={`risk rank${riskRank(risk)} ${large ? "large" : ""}`}>
      <RiskGlyph risk={risk} />
      <span class="word">{riskWord(risk)}</span>
      {chance !== undefined && <span class="chance">{percent(chance)}</span>}
    </span>
  );
}
