// The wall in section and to scale, with the film before and after the firing. The film is drawn thicker than it is, by a
// factor that the drawing states: at the scale of a pot it would not be seen.
import { useRef } from "preact/hooks";
import type { FilmPoint, Score } from "../api/types";
import { unit } from "../preferences";
import { length, lengthNumber, percent } from "../units";
import { riskWord } from "../risk";
import { useWidth } from "./width";

interface Spot {
  s: number;
  r: number;
  h: number;
  before: number;
  after: number;
}

const magnifications = [2, 5, 10, 15, 20, 30, 50, 100];

// Leaves labels in their order and at least `gap` apart.
function spread(places: number[], gap: number, most: number): number[] {
  const out = [...places];
  for (let i = 1; i < out.length; i++) out[i] = Math.max(out[i]!, out[i - 1]! + gap);
  for (let i = out.length - 1; i >= 0; i--) out[i] = Math.min(out[i]!, i === out.length - 1 ? most : out[i + 1]! - gap);
  return out;
}

// A further band below the scored one, by what it is called.
export interface Buffer {
  fromMm: number;
  toMm: number;
  name: string;
}

export function WallDrawing({ film, score, straight, buffers }: { film: FilmPoint[]; score: Score; straight: boolean; buffers: Buffer[] }) {
  const box = useRef<HTMLDivElement>(null);
  const width = useWidth(box, 480);
  const spots: Spot[] = film
    .map((p) => ({ s: p.fromFootMm ?? 0, r: p.radiusMm ?? 0, h: p.heightMm ?? 0, before: p.beforeUm ?? 0, after: p.afterUm ?? 0 }))
    .sort((a, b) => a.s - b.s);
  if (spots.length < 2) return <p class="hint">No drawing for this wall.</p>;

  const first = spots[0]!;
  const last = spots[spots.length - 1]!;
  const wallTop = Math.max(...spots.map((p) => p.h));
  const wallSize = Math.max(wallTop, 1);
  const clearance = score.clearanceMm ?? 0;
  const median = score.medianRunMm ?? 0;
  const p10 = score.runP10Mm ?? 0;
  const p90 = score.runP90Mm ?? 0;
  const needed = score.clearanceNeededMm ?? 0;

  // A straight wall stands twice side by side; a pot shows its left half before the firing and its right half after.
  const lean = Math.min(...spots.map((p) => p.r));
  const slab = wallSize * 0.06;
  const radius = (r: number) => (straight ? r - lean + slab + wallSize * 0.24 : r);
  const widest = Math.max(...spots.map((p) => radius(p.r)), 1);
  const cookie = score.foot?.cookie;
  const hasCookie = cookie === "COOKIE_KIND_PLAIN" || cookie === "COOKIE_KIND_DISHED";
  const cookieDiameter = hasCookie ? (score.foot?.cookieDiameterMm ?? 0) : 0;
  const cookieThickness = hasCookie ? (score.foot?.cookieThicknessMm ?? 0) : 0;
  const halfMm = Math.max(widest, cookieDiameter / 2) * 1.06 + wallSize * 0.04;
  const tallMm = wallTop + cookieThickness;

  const labelRoom = 200;
  const top = 30;
  const bottom = 44;
  const scale = Math.min((width - labelRoom - 16) / (2 * halfMm), 430 / tallMm);
  const axis = 8 + halfMm * scale;
  const height = Math.ceil(top + tallMm * scale + bottom);
  const y = (h: number) => top + (wallTop - h) * scale;
  const x = (r: number, side: 1 | -1) => axis + side * r * scale;

  const thickest = Math.max(...spots.map((p) => Math.max(p.before, p.after)), 1) / 1000;
  const wanted = (0.06 * Math.max(wallSize, widest)) / thickest;
  const magnified = magnifications.findLast((m) => m <= wanted) ?? magnifications[0]!;

  const normal = (i: number) => {
    const a = spots[Math.max(0, i - 1)]!;
    const b = spots[Math.min(spots.length - 1, i + 1)]!;
    const dr = b.r - a.r;
    const dh = b.h - a.h;
    const l = Math.hypot(dr, dh) || 1;
    return { r: dh / l, h: -dr / l };
  };
  const filmPath = (side: 1 | -1, of: (p: Spot) => number) => {
    const outside = spots.map((p, i) => {
      const n = normal(i);
      const t = (of(p) / 1000) * magnified;
      return `${x(radius(p.r) + n.r * t, side).toFixed(1)},${y(p.h + n.h * t).toFixed(1)}`;
    });
    const inside = spots.map((p) => `${x(radius(p.r), side).toFixed(1)},${y(p.h).toFixed(1)}`).reverse();
    return `M${outside.join("L")}L${inside.join("L")}Z`;
  };
  const wallPath = (side: 1 | -1) => {
    const outside = spots.map((p) => `${x(radius(p.r), side).toFixed(1)},${y(p.h).toFixed(1)}`);
    const inner = straight
      ? [last, first].map((p) => `${x(radius(p.r) - slab, side).toFixed(1)},${y(p.h).toFixed(1)}`)
      : [`${x(0, side)},${y(last.h)}`, `${x(0, side)},${y(first.h)}`];
    return `M${outside.join("L")}L${inner.join("L")}Z`;
  };

  // Where a length along the wall from the foot lies.
  const at = (s: number) => {
    const clipped = Math.min(last.s, Math.max(first.s, s));
    const i = Math.max(1, spots.findIndex((p) => p.s >= clipped));
    const a = spots[i - 1]!;
    const b = spots[i]!;
    const share = b.s > a.s ? (clipped - a.s) / (b.s - a.s) : 0;
    return { r: a.r + share * (b.r - a.r), h: a.h + share * (b.h - a.h) };
  };
  const mark = (s: number) => {
    const p = at(s);
    return { px: x(radius(p.r), 1), py: y(p.h) };
  };

  const edge = mark(clearance);
  const drip = mark(clearance - median);
  const shortest = mark(clearance - p10);
  const longest = mark(clearance - p90);
  const rightmost = axis + halfMm * scale;
  const bracket = (rightmost + Math.max(edge.px, drip.px)) / 2 + 6;
  const u = unit.value;
  const beyond = (run: number) => (run > clearance ? ", over the foot" : "");

  // Beside the wall, on its inner side, so that the film stays in sight.
  const bufferPath = (b: Buffer, side: 1 | -1) =>
    "M" +
    [b.fromMm, ...spots.map((p) => p.s).filter((s) => s > b.fromMm && s < b.toMm), b.toMm]
      .map(at)
      .map((p) => `${(x(radius(p.r), side) - side * 5).toFixed(1)},${y(p.h).toFixed(1)}`)
      .join("L");

  const lowest = buffers.length > 0 ? "buffer" : "band";
  const labels = [
    ...buffers.map((b, i) => {
      const { px, py } = mark((b.fromMm + b.toMm) / 2);
      return { key: `buffer b${i}`, px: px - 5, py, text: `buffer: ${b.name}` };
    }),
    { key: "edge", px: edge.px, py: edge.py, text: `lower edge of the ${lowest}` },
    { key: "drip", px: drip.px, py: drip.py, text: `drip ${length(median, u)}${beyond(median)}` },
    { key: "span", px: bracket, py: longest.py, text: `80 %: ${lengthNumber(p10, u)} to ${length(p90, u)}` },
    ...(needed > 0 && needed < last.s && needed > clearance
      ? [{ key: "leave", px: mark(needed).px, py: mark(needed).py, text: `start here: ${length(needed, u)}` }]
      : []),
    { key: "foot", px: mark(0).px, py: y(0), text: "foot" },
  ].sort((a, b) => a.py - b.py);
  const places = spread(labels.map((l) => l.py), 17, height - bottom + 12);

  const barMm = u === "in" ? 25.4 * (scale * 25.4 > 28 ? 1 : 4) : ([5, 10, 20, 50, 100, 200].find((m) => m * scale > 36) ?? 500);
  const footHalf = radius(first.r);
  const described =
    `Section of the wall, ${length(wallTop, u)} high. The ${lowest} starts ${length(clearance, u)} above the foot. ` +
    buffers.map((b) => `A buffer of ${b.name} lies below the band, from ${length(b.fromMm, u)} to ${length(b.toMm, u)}. `).join("") +
    `Median drip ${length(median, u)}, 80 % between ${length(p10, u)} and ${length(p90, u)}. ` +
    `${riskWord(score.risk)} risk, ${percent(score.exceedProbability ?? 0)} to pass the foot.`;

  return (
    <div class="wall" ref={box}>
      <svg width={width} height={height} viewBox={`0 0 ${width} ${height}`} role="img" aria-label={described}>
        <g class="clay">
          <path d={wallPath(-1)} />
          <path d={wallPath(1)} />
        </g>
        <path class="film before" d={filmPath(-1, (p) => p.before)} />
        <path class="film after" d={filmPath(1, (p) => p.after)} />
        {buffers.map((b) => (
          <g class="buffer-line" key={b.fromMm}>
            <path d={bufferPath(b, -1)} />
            <path d={bufferPath(b, 1)} />
          </g>
        ))}
        {!straight && <path class="axis" d={`M${axis} ${top - 12}V${y(0) + 6}`} />}
        <text class="side" x={axis - 12} y={14} text-anchor="end">
          before
        </text>
        <text class="side" x={axis + 12} y={14}>
          after
        </text>

        {cookieDiameter > 0 && (
          <g class="cookie">
            {cookie === "COOKIE_KIND_DISHED" ? (
              <path
                d={`M${x(cookieDiameter / 2, -1)} ${y(0) - 3}V${y(-cookieThickness)}H${x(cookieDiameter / 2, 1)}V${y(0) - 3}h-4v3H${x(cookieDiameter / 2, -1) + 4}v-3z`}
              />
            ) : (
              <rect x={x(cookieDiameter / 2, -1)} y={y(0)} width={cookieDiameter * scale} height={cookieThickness * scale} />
            )}
          </g>
        )}
        <path class="shelf" d={`M4 ${y(-cookieThickness) + 1.5}H${rightmost}`} />
        <path class="foot-line" d={`M${x(footHalf, -1) - 8} ${y(0)}H${rightmost}`} />
        <path class="edge-line" d={`M${edge.px - 2} ${edge.py}H${rightmost}`} />
        {needed > clearance && needed < last.s && <path class="leave-line" d={`M${mark(needed).px - 6} ${mark(needed).py}H${rightmost}`} />}

        <path class="bracket" d={`M${bracket - 5} ${shortest.py}h10M${bracket} ${shortest.py}V${longest.py}M${bracket - 5} ${longest.py}h10`} />
        <circle class="drip" cx={bracket} cy={drip.py} r="5" />

        {labels.map((l, i) => (
          <g key={l.key} class={"label " + l.key}>
            <path d={`M${Math.max(l.px, l.key === "span" || l.key === "drip" ? bracket + 7 : rightmost)} ${l.py}L${rightmost + 8} ${places[i]}`} />
            <text x={rightmost + 12} y={places[i]! + 4}>
              {l.text}
            </text>
          </g>
        ))}

        <g class="scale">
          <path d={`M8 ${height - 12}v6h${barMm * scale}v-6`} />
          <text x={14 + barMm * scale} y={height - 6}>
            {u === "in" ? `${barMm / 25.4} in` : `${barMm} mm`} · glaze drawn {magnified}× as thick
          </text>
        </g>
      </svg>
      <p class="hint">The film ends at its mean front; the longest drip goes further, and it is the drip that is scored.</p>
    </div>
  );
}
