// A wall to scale, mirrored into the pot that it belongs to.
import { useRef } from "preact/hooks";
import type { ProfilePoint } from "../api/types";
import { unit } from "../preferences";
import { length } from "../units";
import { useWidth } from "./width";

export function ProfileDrawing({ points, wallLengthMm }: { points: ProfilePoint[]; wallLengthMm?: number }) {
  const box = useRef<HTMLDivElement>(null);
  const width = useWidth(box, 360);
  const u = unit.value;
  const top = Math.max(...points.map((p) => p.heightMm ?? 0), 1);
  const widest = Math.max(...points.map((p) => p.radiusMm ?? 0), 1);
  const scale = Math.min((width - 20) / (2 * widest), 360 / top);
  const height = top * scale + 30;
  const axis = width / 2;
  const side = (s: 1 | -1) => points.map((p) => `${(axis + s * (p.radiusMm ?? 0) * scale).toFixed(1)},${(10 + (top - (p.heightMm ?? 0)) * scale).toFixed(1)}`);
  const outline = `M${side(1).join("L")}L${side(-1).reverse().join("L")}Z`;
  const sizes = `${length(top, u)} high, ${length(2 * widest, u)} across`;
  return (
    <div class="wall" ref={box}>
      <svg width={width} height={height} viewBox={`0 0 ${width} ${height}`} role="img" aria-label={`Outline of the ware, ${sizes}`}>
        <g class="clay">
          <path d={outline} />
        </g>
        <path class="axis" d={`M${axis} 4V${height - 14}`} />
        <path class="shelf" d={`M4 ${height - 18.5}H${width - 4}`} />
      </svg>
      <p class="hint">
        {sizes}
        {wallLengthMm ? `; wall ${length(wallLengthMm, u)}` : ""}
      </p>
    </div>
  );
}
