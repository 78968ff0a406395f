// The layers of a layering: chosen, weighed in coats, and put in order by dragging, by buttons or by keys.
import { useRef, useState } from "preact/hooks";
import type { Glaze } from "../api/types";
import { glazes, lots, ready } from "../lists";
import type { Draft } from "../entries";
import { optionsOf } from "../names";
import { newLayer, type LayerChoice, type Method } from "../scoring";
import { Choice, NumberField, type Option } from "./fields";

const methods: Option[] = [
  { value: "BRUSH", text: "Brushed" },
  { value: "DIP", text: "Dipped" },
  { value: "SPRAY", text: "Sprayed" },
  { value: "POUR", text: "Poured" },
];

const MOST = 8;

// What tells two glazes of one name apart.
export function glazeMore(g: Glaze): string {
  const materials = (g.recipe?.ingredients ?? []).slice(0, 3).map((i) => `${i.material} ${i.amount}`);
  return [g.coneFrom && `cone ${g.coneFrom}${g.coneTo && g.coneTo !== g.coneFrom ? `–${g.coneTo}` : ""}`, ...materials].filter(Boolean).join(", ");
}

export function LayersEditor({ studio, layers, onLayers }: { studio: string; layers: Draft<LayerChoice>[]; onLayers(layers: Draft<LayerChoice>[]): void }) {
  const [said, setSaid] = useState("");
  const [dragged, setDragged] = useState<number | null>(null);
  const list = useRef<HTMLOListElement>(null);
  const options = optionsOf(ready(glazes(studio)), glazeMore);
  const title = (l: { glaze: string }) => options.find((o) => o.value === l.glaze)?.text ?? "no glaze yet";

  const change = (i: number, next: Partial<Draft<LayerChoice>>) => onLayers(layers.map((l, k) => (k === i ? { ...l, ...next } : l)));
  const move = (from: number, to: number) => {
    if (to < 0 || to >= layers.length || from === to) return;
    const next = [...layers];
    next.splice(to, 0, ...next.splice(from, 1));
    onLayers(next);
    setSaid(`${title(layers[from]!)} is now layer ${to + 1} of ${layers.length}.`);
  };

  // Dragging moves the layer as soon as the pointer is over another one.
  const drag = (event: PointerEvent) => {
    if (dragged === null || !list.current) return;
    const over = [...list.current.children].findIndex((item) => {
      const box = item.getBoundingClientRect();
      return event.clientY >= box.top && event.clientY < box.bottom;
    });
    if (over >= 0 && over !== dragged) {
      move(dragged, over);
      setDragged(over);
    }
  };

  return (
    <div class="layers">
      <ol ref={list}>
        {layers.map((layer, i) => (
          <li key={i} class={dragged === i ? "dragged" : ""}>
            <div class="layer-head">
              <button
                type="button"
                class="grip"
                aria-label={`Move layer ${i + 1}, ${title(layer)}: drag, or arrow keys`}
                onPointerDown={(e) => {
                  e.currentTarget.setPointerCapture(e.pointerId);
                  setDragged(i);
                }}
                onPointerMove={drag}
                onPointerUp={() => setDragged(null)}
                onPointerCancel={() => setDragged(null)}
                onKeyDown={(e) => {
                  const by = e.key === "ArrowUp" ? -1 : e.key === "ArrowDown" ? 1 : 0;
                  if (by === 0) return;
                  e.preventDefault();
                  move(i, i + by);
                  const grips = list.current?.querySelectorAll<HTMLElement>(".grip");
                  grips?.[Math.min(layers.length - 1, Math.max(0, i + by))]?.focus();
                }}
              >
                <svg viewBox="0 0 16 24" width="16" height="24" aria-hidden="true">
                  <path d="M2 6h12M2 12h12M2 18h12" stroke="currentColor" stroke-width="2.5" stroke-linecap="round" />
                </svg>
              </button>
              <span class="place">
                {i + 1}
                <small>{i === 0 ? "on the wall" : i === layers.length - 1 ? "outermost" : "between"}</small>
              </span>
              <span class="moves">
                <button type="button" class="plain" disabled={i === 0} aria-label={`Layer ${i + 1} earlier`} onClick={() => move(i, i - 1)}>
                  ↑
                </button>
                <button type="button" class="plain" disabled={i === layers.length - 1} aria-label={`Layer ${i + 1} later`} onClick={() => move(i, i + 1)}>
                  ↓
                </button>
                <button type="button" class="plain" aria-label={`Take layer ${i + 1} away`} onClick={() => onLayers(layers.filter((_, k) => k !== i))}>
                  ✕
                </button>
              </span>
            </div>
            <Choice label={`Glaze of layer ${i + 1}`} value={layer.glaze} options={options} required onValue={(glaze) => change(i, { glaze, lot: "" })} />
            <div class="pair">
              {layer.thicknessUm !== undefined ? (
                <NumberField label="Fired thickness" value={layer.thicknessUm} min={1} max={5000} step={50} unit="µm" required onValue={(v) => change(i, { thicknessUm: v })} />
              ) : layer.dryMassGPerCm2 !== undefined ? (
                <NumberField label="Dry mass" value={layer.dryMassGPerCm2} min={0.001} max={1} step={0.01} unit="g/cm²" required onValue={(v) => change(i, { dryMassGPerCm2: v })} />
              ) : (
                <NumberField label="Coats" value={layer.coats} min={0.1} max={20} step={1} required onValue={(v) => change(i, { coats: v! })} />
              )}
              <Choice
                label="How"
                value={layer.thicknessUm !== undefined ? "THICKNESS" : layer.dryMassGPerCm2 !== undefined ? "MASS" : layer.method}
                options={[...methods, { value: "THICKNESS", text: "Measured thickness" }, { value: "MASS", text: "Weighed dry" }]}
                onValue={(how) =>
                  change(i, {
                    thicknessUm: how === "THICKNESS" ? 250 : undefined,
                    dryMassGPerCm2: how === "MASS" ? 0.06 : undefined,
                    method: how === "THICKNESS" || how === "MASS" ? layer.method : (how as Method),
                  })
                }
              />
            </div>
            <LotChoice studio={studio} layer={layer} onLot={(lot) => change(i, { lot })} />
          </li>
        ))}
      </ol>
      {layers.length < MOST && (
        <button type="button" class="add" onClick={() => onLayers([...layers, newLayer(layers.length === 0 ? (options[0]?.value ?? "") : "")])}>
          + {layers.length === 0 ? "First layer" : "Layer over it"}
        </button>
      )}
      <p class="unseen" role="status">
        {said}
      </p>
    </div>
  );
}

function LotChoice({ studio, layer, onLot }: { studio: string; layer: Draft<LayerChoice>; onLot(lot: string): void }) {
  if (!layer.glaze) return null;
  const known = ready(lots(`${studio}/${layer.glaze}`));
  if (known.length === 0 && !layer.lot) return null;
  return (
    <Choice
      label="Lot"
      value={layer.lot}
      empty="Not known"
      options={optionsOf(known, (l) => l.notes ?? "")}
      onValue={onLot}
    />
  );
}
