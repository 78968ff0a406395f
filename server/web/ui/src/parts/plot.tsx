// Plots with axes, units and intervals, drawn as SVG so that they follow the theme and print sharp. Every plot can be read
// as a table as well.
import { scaleLinear, scaleSymlog } from "d3-scale";
import { area, line } from "d3-shape";
import { useRef } from "preact/hooks";
import { Scrolled } from "./states";
import { useWidth } from "./width";

export interface Point {
  x: number;
  y: number;
  // Ends of an interval around y.
  low?: number;
  high?: number;
  // Measured values that are only bounds.
  shape?: "round" | "up" | "cross";
  title?: string;
}

export interface Mark {
  kind: "line" | "band" | "dots" | "steps";
  name: string;
  points: Point[];
  // 0 to 3: colour and dash together.
  tone?: number;
}

export interface Axis {
  label: string;
  from?: number;
  to?: number;
  // Even in ln(1 + value), as runs are judged.
  even?: "value" | "ln";
  format?: (value: number) => string;
}

export interface Rule {
  at: number;
  along: "x" | "y";
  text: string;
}

const lnTicks = [0, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000];

function extent(values: number[], axis: Axis): [number, number] {
  const finite = values.filter(Number.isFinite);
  let from = axis.from ?? Math.min(...finite);
  let to = axis.to ?? Math.max(...finite);
  if (!Number.isFinite(from)) from = 0;
  if (!Number.isFinite(to)) to = from + 1;
  if (to <= from) to = from + 1;
  return [from, to];
}

export function Plot(props: { label: string; x: Axis; y: Axis; marks: Mark[]; rules?: Rule[]; diagonal?: boolean; height?: number }) {
  const box = useRef<HTMLDivElement>(null);
  const width = useWidth(box, 560);
  const height = props.height ?? Math.min(340, Math.max(230, width * 0.6));
  const margin = { left: 62, right: 14, top: 12, bottom: 46 };
  const all = props.marks.flatMap((m) => m.points);
  if (all.length === 0) return null;

  const scaleOf = (axis: Axis, values: number[], range: [number, number]) => {
    const domain = extent(values, axis);
    return axis.even === "ln" ? scaleSymlog().constant(1).domain(domain).range(range) : scaleLinear().domain(domain).range(range).nice();
  };
  const sx = scaleOf(props.x, all.map((p) => p.x), [margin.left, width - margin.right]);
  const sy = scaleOf(props.y, all.flatMap((p) => [p.y, p.low ?? p.y, p.high ?? p.y]), [height - margin.bottom, margin.top]);
  const ticksOf = (axis: Axis, scale: typeof sx, room: number) => {
    const [from = 0, to = 1] = scale.domain();
    return axis.even === "ln" ? lnTicks.filter((t) => t >= from && t <= to) : scale.ticks(Math.max(3, Math.floor(room)));
  };
  const text = (axis: Axis, v: number) => (axis.format ? axis.format(v) : String(Number(v.toFixed(6))));
  const xTicks = ticksOf(props.x, sx, width / 80);
  const yTicks = ticksOf(props.y, sy, height / 48);
  const [xFrom = 0, xTo = 1] = sx.domain();
  const [yFrom = 0, yTo = 1] = sy.domain();
  const diagonal = [Math.max(xFrom, yFrom), Math.min(xTo, yTo)] as const;

  return (
    <figure class="plot">
      <div ref={box}>
        <svg width={width} height={height} viewBox={`0 0 ${width} ${height}`} role="img" aria-label={props.label}>
          <g class="grid">
            {xTicks.map((t) => (
              <path key={t} d={`M${sx(t)} ${margin.top}V${height - margin.bottom}`} />
            ))}
            {yTicks.map((t) => (
              <path key={t} d={`M${margin.left} ${sy(t)}H${width - margin.right}`} />
            ))}
          </g>
          <g class="ticks">
            {xTicks.map((t) => (
              <text key={t} x={sx(t)} y={height - margin.bottom + 18} text-anchor="middle">
                {text(props.x, t)}
              </text>
            ))}
            {yTicks.map((t) => (
              <text key={t} x={margin.left - 8} y={sy(t) + 4} text-anchor="end">
                {text(props.y, t)}
              </text>
            ))}
            <text class="axis-label" x={(margin.left + width - margin.right) / 2} y={height - 8} text-anchor="middle">
              {props.x.label}
            </text>
            <text class="axis-label" transform={`translate(12 ${(margin.top + height - margin.bottom) / 2}) rotate(-90)`} text-anchor="middle">
              {props.y.label}
            </text>
          </g>
          {props.diagonal && <path class="diagonal" d={`M${sx(diagonal[0])} ${sy(diagonal[0])}L${sx(diagonal[1])} ${sy(diagonal[1])}`} />}
          {props.rules?.map((r) =>
            r.along === "x" ? (
              <g key={r.text} class="rule">
                <path d={`M${margin.left} ${sy(r.at)}H${width - margin.right}`} />
                <text x={width - margin.right - 4} y={sy(r.at) - 5} text-anchor="end">
                  {r.text}
                </text>
              </g>
            ) : (
              <g key={r.text} class="rule">
                <path d={`M${sx(r.at)} ${margin.top}V${height - margin.bottom}`} />
                <text x={sx(r.at) + 5} y={margin.top + 12}>
                  {r.text}
                </text>
              </g>
            ),
          )}
          {props.marks.map((m) => (
            <g key={m.name} class={`${m.kind} tone${m.tone ?? 0}`}>
              {m.kind === "band" && (
                <path
                  d={
                    area<Point>()
                      .x((p) => sx(p.x))
                      .y0((p) => sy(p.low ?? p.y))
                      .y1((p) => sy(p.high ?? p.y))(m.points) ?? ""
                  }
                />
              )}
              {m.kind === "line" && (
                <path
                  d={
                    line<Point>()
                      .x((p) => sx(p.x))
                      .y((p) => sy(p.y))(m.points) ?? ""
                  }
                />
              )}
              {m.kind === "steps" &&
                m.points.map((p, i) => <path key={i} d={`M${sx(p.x) - 14} ${sy(p.y)}h28M${sx(p.x)} ${sy(p.low ?? p.y)}V${sy(p.high ?? p.y)}M${sx(p.x) - 6} ${sy(p.low ?? p.y)}h12M${sx(p.x) - 6} ${sy(p.high ?? p.y)}h12`} />)}
              {m.kind === "dots" && m.points.map((p, i) => <Dot key={i} p={p} px={sx(p.x)} py={sy(p.y)} low={sy(p.low ?? p.y)} high={sy(p.high ?? p.y)} />)}
            </g>
          ))}
        </svg>
      </div>
      {props.marks.length > 1 && (
        <figcaption>
          {props.marks.map((m) => (
            <span key={m.name} class={`key ${m.kind} tone${m.tone ?? 0}`}>
              {m.name}
            </span>
          ))}
        </figcaption>
      )}
      <details>
        <summary>As a table</summary>
        <Scrolled label={"Table: " + props.label}>
          <table>
            <thead>
              <tr>
                <th scope="col">What</th>
                <th scope="col">{props.x.label}</th>
                <th scope="col">{props.y.label}</th>
                <th scope="col">from</th>
                <th scope="col">to</th>
              </tr>
            </thead>
            <tbody>
              {props.marks.flatMap((m) =>
                m.points.slice(0, 200).map((p, i) => (
                  <tr key={m.name + i}>
                    <td>{p.title ?? m.name}</td>
                    <td>{text(props.x, p.x)}</td>
                    <td>{text(props.y, Number(p.y.toPrecision(4)))}</td>
                    <td>{p.low === undefined ? "" : text(props.y, Number(p.low.toPrecision(4)))}</td>
                    <td>{p.high === undefined ? "" : text(props.y, Number(p.high.toPrecision(4)))}</td>
                  </tr>
                )),
              )}
            </tbody>
          </table>
        </Scrolled>
      </details>
    </figure>
  );
}

function Dot({ p, px, py, low, high }: { p: Point; px: number; py: number; low: number; high: number }) {
  const shape =
    p.shape === "up" ? (
      <path class="dot" d={`M${px} ${py - 6}l5.5 9h-11z`} />
    ) : p.shape === "cross" ? (
      <path class="dot cross" d={`M${px - 5} ${py - 5}l10 10M${px + 5} ${py - 5}l-10 10`} />
    ) : (
      <circle class="dot" cx={px} cy={py} r="4" />
    );
  return (
    <g>
      {p.title && <title>{p.title}</title>}
      <path class="whisker" d={`M${px} ${low}V${high}`} />
      {shape}
    </g>
  );
}
