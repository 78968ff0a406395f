// A firing plan: said in words, and edited by cone, by segments or by a kiln's own log.
import type { Atmosphere, ConeFiring, FiringPlan, Segment } from "../api/types";
import { isUnread, type Draft } from "../entries";
import { said } from "../names";
import { Choice, FileButton, NumberField, OneOf, TextField, type Option } from "./fields";

const atmospheres: Option[] = [
  { value: "ATMOSPHERE_KIND_OXIDATION", text: "Oxidation" },
  { value: "ATMOSPHERE_KIND_NEUTRAL", text: "Neutral" },
  { value: "ATMOSPHERE_KIND_LIGHT_REDUCTION", text: "Light reduction" },
  { value: "ATMOSPHERE_KIND_MEDIUM_REDUCTION", text: "Medium reduction" },
  { value: "ATMOSPHERE_KIND_HEAVY_REDUCTION", text: "Heavy reduction" },
];

const coneTypes: Option[] = [
  { value: "CONE_TYPE_LARGE", text: "Large" },
  { value: "CONE_TYPE_SELF_SUPPORTING", text: "Self-supporting" },
  { value: "CONE_TYPE_SMALL", text: "Small" },
];

type AtmosphereKind = NonNullable<Atmosphere["kind"]>;
type ConeType = NonNullable<ConeFiring["coneType"]>;

export function planSentence(plan: FiringPlan): string {
  const air = atmospheres.find((a) => a.value === plan.atmosphere?.kind)?.text.toLowerCase() ?? "oxidation";
  if (plan.cone) {
    const c = plan.cone;
    const parts = [`cone ${c.cone}`, `${c.finalRampCPerH ?? 60} °C/h at the end`];
    if (c.holdMin) parts.push(`hold ${c.holdMin} min`);
    if (c.dropC) parts.push(`drop ${c.dropC} °C and hold ${c.dropHoldMin ?? 0} min`);
    return `${parts.join(", ")}, ${air}.`;
  }
  if (plan.segments) {
    const peak = Math.max(...(plan.segments.segments ?? []).map((s) => s.targetC ?? 0));
    return `${plan.segments.segments?.length ?? 0} segments to ${peak} °C, ${air}.`;
  }
  return `by the kiln's log, ${air}.`;
}

export function PlanEditor({ plan, onPlan }: { plan: Draft<FiringPlan>; onPlan(plan: Draft<FiringPlan>): void }) {
  const kind = plan.log ? "log" : plan.segments ? "segments" : "cone";
  const rest = { atmosphere: plan.atmosphere, coolingCPerH: plan.coolingCPerH, witnessCone: plan.witnessCone };
  const cone = plan.cone ?? {};
  const setCone = (next: Partial<Draft<ConeFiring>>) => onPlan({ ...plan, cone: { ...cone, ...next } });
  const segments = plan.segments?.segments ?? [];
  const setSegments = (next: Draft<Segment>[]) => onPlan({ ...plan, segments: { segments: next } });
  const last = segments.at(-1)?.targetC;
  const lastTarget = last === undefined || isUnread(last) ? 1222 : last;
  return (
    <>
      <OneOf
        label="Known by"
        value={kind}
        options={[
          { value: "cone", text: "Cone" },
          { value: "segments", text: "Segments" },
          { value: "log", text: "Kiln log" },
        ]}
        onValue={(next) =>
          onPlan(
            next === "cone"
              ? { ...rest, cone: { cone: "6" } }
              : next === "segments"
                ? { ...rest, segments: { segments: [{ rampCPerH: 150, targetC: 1100, holdMin: 0 }, { rampCPerH: 60, targetC: 1222, holdMin: 10 }] } }
                : { ...rest, log: { csv: "" } },
          )
        }
      />
      {kind === "cone" && (
        <>
          <div class="pair">
            <TextField label="Cone" value={cone.cone ?? ""} maxLength={4} required onValue={(v) => setCone({ cone: v.trim() })} />
            <Choice label="Size of the cone" value={said(cone.coneType, "CONE_TYPE_LARGE")} options={coneTypes} onValue={(v) => setCone({ coneType: v as ConeType })} />
          </div>
          <div class="pair">
            <NumberField label="Last 100 °C at" unit="°C/h" value={cone.finalRampCPerH} min={5} max={600} hint="Default: 60 °C/h." onValue={(v) => setCone({ finalRampCPerH: v })} />
            <NumberField label="Hold at the peak" unit="min" value={cone.holdMin} min={0} max={1440} onValue={(v) => setCone({ holdMin: v })} />
          </div>
          <div class="pair">
            <NumberField label="Drop by" unit="°C" value={cone.dropC} min={0} max={400} hint="Empty: no drop hold." onValue={(v) => setCone({ dropC: v })} />
            <NumberField label="Hold there" unit="min" value={cone.dropHoldMin} min={0} max={1440} onValue={(v) => setCone({ dropHoldMin: v })} />
          </div>
        </>
      )}
      {kind === "segments" && (
        <div class="stack">
          {segments.map((s, i) => {
            const set = (next: Partial<Draft<Segment>>) => setSegments(segments.map((old, k) => (k === i ? { ...old, ...next } : old)));
            return (
              <div class="segment" key={i}>
                <NumberField label={`${i + 1}: ramp`} unit="°C/h" value={s.rampCPerH} min={1} max={2000} required onValue={(v) => set({ rampCPerH: v })} />
                <NumberField label="To" unit="°C" value={s.targetC} min={0} max={1450} required onValue={(v) => set({ targetC: v })} />
                <NumberField label="Hold" unit="min" value={s.holdMin} min={0} max={2880} onValue={(v) => set({ holdMin: v })} />
                <button type="button" class="plain" aria-label={`Take segment ${i + 1} away`} onClick={() => setSegments(segments.filter((_, k) => k !== i))}>
                  ✕
                </button>
              </div>
            );
          })}
          <button type="button" class="add" disabled={segments.length >= 50} onClick={() => setSegments([...segments, { rampCPerH: 60, targetC: lastTarget, holdMin: 0 }])}>
            + Segment
          </button>
        </div>
      )}
      {kind === "log" && (
        <>
          <p class="row">
            <FileButton label="Choose the log's CSV" accept=".csv,text/csv,text/plain" onFile={async (f) => onPlan({ ...plan, log: { csv: await f.text() } })} />
          </p>
          <TextField label="Or paste it" lines={6} value={plan.log?.csv ?? ""} hint="Columns minutes and temperature_c (or temperature_f)." onValue={(csv) => onPlan({ ...plan, log: { csv } })} />
        </>
      )}
      <div class="pair">
        <Choice
          label="Atmosphere"
          value={said(plan.atmosphere?.kind, "ATMOSPHERE_KIND_OXIDATION")}
          options={atmospheres}
          onValue={(v) => onPlan({ ...plan, atmosphere: { kind: v as AtmosphereKind } })}
        />
        <NumberField label="Cooling" unit="°C/h" value={plan.coolingCPerH} min={10} max={2000} hint="Default: 200 °C/h." onValue={(v) => onPlan({ ...plan, coolingCPerH: v })} />
      </div>
      <TextField
        label="Witness cone"
        value={plan.witnessCone?.cone ?? ""}
        maxLength={6}
        hint="Cone that bent to its end point, for example 6 or 6.3. Corrects the whole curve."
        onValue={(v) => onPlan({ ...plan, witnessCone: v.trim() ? { ...plan.witnessCone, cone: v.trim() } : undefined })}
      />
    </>
  );
}
