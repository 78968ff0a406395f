// Traces one side of a pot over a photograph. The photograph never leaves the browser: only the traced path does.
import { useEffect, useRef, useState } from "preact/hooks";
import { numberIn, type Entry } from "../entries";
import { FileButton, NumberField, OneOf } from "./fields";

interface Spot {
  x: number;
  y: number;
}

type Tool = "wall" | "scale" | "axis";

export interface Traced {
  d: string;
  mmPerUnit: number;
  axisX: number;
}

export function Tracing({ onTraced }: { onTraced(path: Traced): void }) {
  const [photo, setPhoto] = useState<{ url: string; width: number; height: number }>();
  const [tool, setTool] = useState<Tool>("wall");
  const [wall, setWall] = useState<Spot[]>([]);
  const [scale, setScale] = useState<Spot[]>([]);
  const [axisX, setAxisX] = useState<number>();
  const [knownMm, setKnownMm] = useState<Entry>();
  const known = numberIn(knownMm);
  const [dragged, setDragged] = useState<number | null>(null);
  const canvas = useRef<SVGSVGElement>(null);
  useEffect(() => () => photo && URL.revokeObjectURL(photo.url), [photo?.url]);

  const open = (file: File) => {
    const url = URL.createObjectURL(file);
    const image = new Image();
    image.onload = () => {
      setPhoto({ url, width: image.naturalWidth, height: image.naturalHeight });
      setWall([]);
      setScale([]);
      setAxisX(undefined);
    };
    image.src = url;
  };
  const spotOf = (e: PointerEvent): Spot => {
    const box = canvas.current!.getBoundingClientRect();
    return { x: ((e.clientX - box.left) / box.width) * photo!.width, y: ((e.clientY - box.top) / box.height) * photo!.height };
  };
  const grip = photo ? photo.width / 60 : 10;

  const press = (e: PointerEvent) => {
    const spot = spotOf(e);
    if (tool === "axis") {
      setAxisX(spot.x);
      return;
    }
    if (tool === "scale") {
      setScale(scale.length >= 2 ? [spot] : [...scale, spot]);
      return;
    }
    const near = wall.findIndex((p) => Math.hypot(p.x - spot.x, p.y - spot.y) < grip * 1.5);
    canvas.current?.setPointerCapture(e.pointerId);
    if (near >= 0) setDragged(near);
    else {
      setWall([...wall, spot]);
      setDragged(wall.length);
    }
  };
  const drag = (e: PointerEvent) => {
    if (dragged === null) return;
    const spot = spotOf(e);
    setWall(wall.map((p, i) => (i === dragged ? spot : p)));
  };

  const scaleLength = scale.length === 2 ? Math.hypot(scale[0]!.x - scale[1]!.x, scale[0]!.y - scale[1]!.y) : 0;
  const whole = wall.length >= 2 && axisX !== undefined && scaleLength > 0 && known !== undefined;
  const line = (spots: Spot[]) => spots.map((p, i) => `${i ? "L" : "M"}${p.x.toFixed(1)} ${p.y.toFixed(1)}`).join("");
  const missing = [
    wall.length < 2 && "points along the wall, foot first",
    scaleLength === 0 && "two ends of a known length",
    !known && "how long that is",
    axisX === undefined && "the middle line of the pot",
  ].filter(Boolean);

  return (
    <div class="stack">
      <p class="row">
        <FileButton label={photo ? "Another photograph" : "Trace over a photograph"} accept="image/*" onFile={open} />
      </p>
      <p class="hint">Taken level with the pot and from far away, it distorts least. The picture stays in this browser.</p>
      {photo && (
        <>
          <OneOf
            label="Press on the picture for"
            value={tool}
            options={[
              { value: "wall", text: "the wall" },
              { value: "scale", text: "a known length" },
              { value: "axis", text: "the middle" },
            ]}
            onValue={(t) => setTool(t as Tool)}
          />
          <div class="photo">
            <svg
              ref={canvas}
              viewBox={`0 0 ${photo.width} ${photo.height}`}
              role="img"
              aria-label={`Photograph with ${wall.length} points on the wall`}
              onPointerDown={press}
              onPointerMove={drag}
              onPointerUp={() => setDragged(null)}
              onPointerCancel={() => setDragged(null)}
            >
              <image href={photo.url} width={photo.width} height={photo.height} />
              <g stroke-width={grip / 4}>
                {axisX !== undefined && <path class="trace-axis" vector-effect="non-scaling-stroke" d={`M${axisX} 0V${photo.height}`} />}
                {scale.length > 0 && <path class="trace-scale" vector-effect="non-scaling-stroke" d={line(scale.length === 2 ? scale : [scale[0]!, scale[0]!])} />}
                {scale.map((p, i) => (
                  <circle key={i} class="trace-point" vector-effect="non-scaling-stroke" cx={p.x} cy={p.y} r={grip / 2} />
                ))}
                <path class="trace-under" vector-effect="non-scaling-stroke" d={line(wall)} />
                <path class="trace" vector-effect="non-scaling-stroke" d={line(wall)} />
                {wall.map((p, i) => (
                  <circle key={i} class="trace-point" vector-effect="non-scaling-stroke" cx={p.x} cy={p.y} r={grip * 0.7} />
                ))}
              </g>
            </svg>
          </div>
          <div class="pair">
            <NumberField label="The known length" unit="length" value={knownMm} min={1} max={2000} onValue={setKnownMm} />
          </div>
          <p class="row">
            <button type="button" disabled={wall.length === 0} onClick={() => setWall(wall.slice(0, -1))}>
              Undo the last point
            </button>
            <button type="button" class="main" disabled={!whole} onClick={() => whole && onTraced({ d: line(wall), mmPerUnit: known / scaleLength, axisX: axisX! })}>
              Use this wall
            </button>
          </p>
          {missing.length > 0 && <p class="hint">Still needed: {missing.join(", ")}.</p>}
        </>
      )}
    </div>
  );
}
