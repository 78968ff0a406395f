// Wares: walls that a studio makes again and again, by dimensions, by points, or traced over a photograph.
import { useState } from "preact/hooks";
import { answer, api } from "../api/client";
import type { ProfilePoint, Ware, WareShape } from "../api/types";
import { whole, type Draft, type Entry } from "../entries";
import { wares } from "../lists";
import { idOf } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { thenReread, useSaving } from "../saving";
import { length } from "../units";
import { usesOf } from "../uses";
import { Choice, FileButton, NumberField, TextField, type Option } from "../parts/fields";
import { Form, useForm } from "../parts/form";
import { ProfileDrawing } from "../parts/profile";
import { RemoveButton } from "../parts/removal";
import { Empty, Failed, Panel, When } from "../parts/states";
import { Tracing } from "../parts/tracing";

type Kind = keyof WareShape;

const kinds: Option[] = [
  { value: "tile", text: "Tile" },
  { value: "cylinder", text: "Cylinder" },
  { value: "bowl", text: "Bowl" },
  { value: "bottle", text: "Bottle or vase" },
  { value: "plate", text: "Plate" },
  { value: "profile", text: "Points, or traced from a photograph" },
];

interface Dimension {
  key: string;
  label: string;
  unit: string;
  max: number;
  hint?: string;
  optional?: boolean;
}

const mm = (key: string, label: string, max = 2000, rest: Partial<Dimension> = {}): Dimension => ({ key, label, unit: "length", max, ...rest });

const dimensions: { [kind in Exclude<Kind, "profile">]: Dimension[] } = {
  tile: [mm("heightMm", "Length along the wall"), mm("widthMm", "Width"), { key: "angleDeg", label: "Lean, from level", unit: "°", max: 90, hint: "90 stands upright.", optional: true }],
  cylinder: [mm("heightMm", "Height"), mm("diameterMm", "Diameter")],
  bowl: [mm("heightMm", "Height"), mm("rimDiameterMm", "Diameter at the rim"), mm("footDiameterMm", "Diameter of the foot")],
  bottle: [
    mm("heightMm", "Height"),
    mm("footDiameterMm", "Diameter of the foot"),
    mm("bellyDiameterMm", "Largest diameter"),
    mm("neckDiameterMm", "Diameter of the neck"),
    mm("bellyHeightMm", "Height of the widest place", 2000, { optional: true, hint: "0.45 of the height unless you say." }),
  ],
  plate: [mm("heightMm", "Height", 500), mm("rimDiameterMm", "Diameter at the rim"), mm("footDiameterMm", "Diameter of the foot")],
};

const starts: { [kind in Kind]-?: WareShape } = {
  tile: { tile: { heightMm: 100, widthMm: 50 } },
  cylinder: { cylinder: { heightMm: 100, diameterMm: 80 } },
  bowl: { bowl: { heightMm: 70, rimDiameterMm: 150, footDiameterMm: 60 } },
  bottle: { bottle: { heightMm: 200, footDiameterMm: 70, bellyDiameterMm: 120, neckDiameterMm: 40 } },
  plate: { plate: { heightMm: 30, rimDiameterMm: 250, footDiameterMm: 150 } },
  profile: { profile: { points: [] } },
};

function kindOf(shape: WareShape | undefined): Kind {
  return (kinds.find((k) => shape?.[k.value as Kind])?.value as Kind) ?? "bottle";
}

export function WaresPage({ studio }: { studio: string }) {
  const resource = wares(studio);
  const { item } = route.value;
  return (
    <>
      <div class="title">
        <h1>Wares</h1>
        <p>Walls from foot to rim: slope and ledges decide where glaze stops</p>
      </div>
      <When loaded={resource.value} what="Fetching the wares" onRetry={() => resource.reload()}>
        {(all) => {
          const found = all.find((w) => idOf(w.name) === item);
          return (
            <div class={item ? "split opened" : "split"}>
              <Panel title="In this studio" class="no-print list">
                <a class="button" href={address(studio, "wares", "new")}>
                  + New ware
                </a>
                {all.length === 0 && <p class="hint">None yet. Scores can do with a test tile, but a pot’s own wall tells more.</p>}
                <ul class="items">
                  {all.map((w) => (
                    <li key={w.name}>
                      <a href={address(studio, "wares", idOf(w.name))} aria-current={w.name === found?.name ? "true" : undefined}>
                        <span>{w.displayName}</span>
                        <small>{w.wallLengthMm ? `wall ${length(w.wallLengthMm, unit.value)}` : ""}</small>
                      </a>
                    </li>
                  ))}
                </ul>
              </Panel>
              <div class="stack">
                <a class="back" href={address(studio, "wares")}>← All wares</a>
                {item === "new" ? (
                  <WareEditor key="new" studio={studio} />
                ) : found ? (
                  <WareEditor key={found.name} studio={studio} ware={found} />
                ) : item ? (
                  <Empty title={`No ware is called “${item}” here`} />
                ) : (
                  <Empty title="Choose a ware">
                    <p>Its wall is drawn here to scale.</p>
                  </Empty>
                )}
              </div>
            </div>
          );
        }}
      </When>
    </>
  );
}

type Typed = Pick<Ware, "displayName" | "shape" | "value" | "notes" | "etag">;

const blankWare: Typed = { displayName: "", shape: starts.bottle, notes: "" };

const labels = { displayName: "Name", shape: "Shape", value: "Worth", notes: "Notes" };

function WareEditor({ studio, ware }: { studio: string; ware?: Ware }) {
  const form = useForm<Typed>(
    `catchline.form.${studio}.ware.${idOf(ware?.name)}`,
    ware ? { displayName: ware.displayName, shape: ware.shape, value: ware.value, notes: ware.notes, etag: ware.etag } : blankWare,
  );
  const { draft, set } = form;
  const kind = kindOf(draft.shape as WareShape | undefined);
  const values = (draft.shape?.[kind] ?? {}) as { [key: string]: Entry };
  const store = async ({ displayName, shape, value, notes, etag }: Typed, requestId: string) => {
    const body: Ware = { displayName: (displayName ?? "").trim(), shape, notes: notes ?? "" };
    if (value !== undefined) body.value = value;
    const stored = await thenReread(
      answer(
        ware
          ? api.PATCH("/v1/studios/{studio}/wares/{ware}", {
              params: { path: { studio, ware: idOf(ware.name) }, query: { requestId, updateMask: "display_name,shape,value,notes" } },
              body: { ...body, etag },
            })
          : api.POST("/v1/studios/{studio}/wares", { params: { path: { studio }, query: { requestId } }, body }),
      ),
      () => wares(studio).reload(),
    );
    go(address(studio, "wares", idOf(stored.name)), ware ? "replace" : "push");
  };
  const typedPoints = whole<ProfilePoint[]>(draft.shape?.profile?.points ?? []) ?? [];
  const points = kind === "profile" ? typedPoints : ware && JSON.stringify(draft.shape) === JSON.stringify(ware.shape) ? (ware.profile?.points ?? []) : [];
  return (
    <div class="split even">
      <Panel title={ware ? (ware.displayName ?? "") : "New ware"}>
        <Form
          form={form}
          labels={labels}
          submit={ware ? "Save changes" : "Store the ware"}
          done="Saved."
          onStore={store}
          more={
            ware && (
              <RemoveButton
                name={ware.displayName ?? idOf(ware.name)}
                uses={() => usesOf(studio, ware.name!)}
                onRemove={async (requestId) => {
                  await answer(
                    api.DELETE("/v1/studios/{studio}/wares/{ware}", {
                      params: { path: { studio, ware: idOf(ware.name) }, query: { requestId, ...(ware.etag && { etag: ware.etag }) } },
                    }),
                  );
                  form.drop();
                  await wares(studio).reload();
                  go(address(studio, "wares"));
                }}
              />
            )
          }
        >
          <TextField label="Name" value={draft.displayName ?? ""} maxLength={120} required onValue={(displayName) => set({ displayName })} />
          <Choice label="Shape" value={kind} options={kinds} onValue={(k) => set({ shape: ware && kindOf(ware.shape) === k ? ware.shape : starts[k as Kind] })} />
          {kind !== "profile" && (
            <div class="pair">
              {dimensions[kind].map((d) => (
                <NumberField
                  key={kind + d.key}
                  label={d.label}
                  unit={d.unit}
                  hint={d.hint}
                  value={values[d.key]}
                  min={d.unit === "length" ? 0.1 : 0}
                  max={d.max}
                  required={!d.optional}
                  onValue={(v) => set({ shape: { [kind]: { ...values, [d.key]: v } } as Draft<WareShape> })}
                />
              ))}
            </div>
          )}
          {kind === "profile" && <ProfileEditor studio={studio} points={typedPoints} onPoints={(p) => set({ shape: { profile: { points: p } } })} />}
          <NumberField label="Worth of one piece" hint="In your currency, when it is lost. Empty: the studio’s default." value={draft.value} min={0} max={1e6} onValue={(value) => set({ value })} />
          <TextField label="Notes" lines={2} value={draft.notes ?? ""} maxLength={4000} onValue={(notes) => set({ notes })} />
        </Form>
      </Panel>
      <Panel title="The wall">
        {points.length >= 2 ? <ProfileDrawing points={points} wallLengthMm={kind === "profile" ? undefined : ware?.wallLengthMm} /> : <p class="hint">{kind === "profile" ? "Give it points, or trace it." : "Store it to see its wall."}</p>}
      </Panel>
    </div>
  );
}

function ProfileEditor({ studio, points, onPoints }: { studio: string; points: ProfilePoint[]; onPoints(points: ProfilePoint[]): void }) {
  const [csv, setCsv] = useState("");
  const reading = useSaving();
  const read = (source: { csv: string } | { svg: { d: string; mmPerUnit: number; axisX?: number } }) =>
    reading.run(async () => {
      const got = await answer(api.POST("/v1/studios/{studio}/wares:trace", { params: { path: { studio } }, body: source }));
      onPoints(got.profile?.points ?? []);
    });
  return (
    <>
      <Tracing onTraced={(svg) => read({ svg })} />
      <details>
        <summary>Or from heights and radii</summary>
        <div class="stack">
          <FileButton label="Choose a CSV" accept=".csv,text/csv,text/plain" onFile={async (f) => setCsv(await f.text())} />
          <TextField label="Points as CSV" lines={5} value={csv} hint="Columns height_mm and radius_mm, foot first." onValue={setCsv} />
          <button type="button" disabled={!csv.trim()} onClick={() => read({ csv })}>
            Read the points
          </button>
        </div>
      </details>
      {reading.problem && <Failed problem={reading.problem} />}
      <p class="hint" role="status">
        {points.length > 0 ? `${points.length} points on the wall.` : "No points yet."}
      </p>
    </>
  );
}
