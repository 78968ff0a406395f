// Firings: a plan, the curve that it makes and the cone that it amounts to.
import { useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import type { Firing, FiringPlan, HeatWork } from "../api/types";
import { useAnswer } from "../asking";
import { firings } from "../lists";
import { idOf } from "../names";
import { address, go, route } from "../route";
import { useSaving } from "../saving";
import { TextField } from "../parts/fields";
import { PlanEditor } from "../parts/plan";
import { Plot } from "../parts/plot";
import { Empty, Failed, Panel, Waiting, When } from "../parts/states";

export function FiringsPage({ studio }: { studio: string }) {
  const resource = firings(studio);
  const { item } = route.value;
  return (
    <>
      <div class="title">
        <h1>Firings</h1>
        <p>Heat work, not only a peak: ramps, holds and cooling all move glaze</p>
      </div>
      <When loaded={resource.value} what="Fetching the firings" onRetry={() => resource.reload()}>
        {(all) => {
          const found = all.find((f) => idOf(f.name) === item);
          return (
            <div class={item ? "split opened" : "split"}>
              <Panel title="In this studio" class="no-print list">
                <a class="button" href={address(studio, "firings", "new")}>
                  + New firing
                </a>
                {all.length === 0 && <p class="hint">None yet. A cone and how fast the last 100 °C go are enough.</p>}
                <ul class="items">
                  {all.map((f) => (
                    <li key={f.name}>
                      <a href={address(studio, "firings", idOf(f.name))} aria-current={f.name === found?.name ? "true" : undefined}>
                        <span>{f.displayName}</span>
                        <small>cone {f.heatWork?.equivalentCone ?? "?"}</small>
                      </a>
                    </li>
                  ))}
                </ul>
              </Panel>
              <div class="stack">
                <a class="back" href={address(studio, "firings")}>← All firings</a>
                {item === "new" ? (
                  <FiringEditor key="new" studio={studio} />
                ) : found ? (
                  <FiringEditor key={found.name! + found.etag} studio={studio} firing={found} />
                ) : item ? (
                  <Empty title={`No firing is called “${item}” here`}>
                    <p>It may have been deleted. Tiles keep the firing of their day.</p>
                  </Empty>
                ) : (
                  <Empty title="Choose a firing">
                    <p>Its curve and its equivalent cone are shown here.</p>
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

// A cone, a segment or a log that is still empty cannot be asked about.
function isWhole(plan: FiringPlan): boolean {
  if (plan.cone) return (plan.cone.cone ?? "") !== "";
  if (plan.segments) return (plan.segments.segments ?? []).length > 0 && plan.segments.segments!.every((s) => (s.rampCPerH ?? 0) > 0 && s.targetC !== undefined);
  return (plan.log?.csv ?? "").trim() !== "";
}

function FiringEditor({ studio, firing }: { studio: string; firing?: Firing }) {
  const [draft, setDraft] = useState<Firing>(() => firing ?? { displayName: "", plan: { cone: { cone: "6" } } });
  const saving = useSaving();
  const set = (next: Partial<Firing>) => setDraft({ ...draft, ...next });
  const plan = draft.plan ?? {};
  const heat = useAnswer<FiringPlan, HeatWork>(
    isWhole(plan) ? plan : null,
    (p, signal) => answer(api.POST("/v1/studios/{parent}/firings:preview", { params: { path: { parent: studio } }, body: { plan: p }, signal })),
    200,
  );
  const save = () =>
    saving.run(async () => {
      const body: Firing = { displayName: (draft.displayName ?? "").trim(), plan, kiln: draft.kiln ?? "", notes: draft.notes ?? "" };
      const query = { requestId: newRequestId() };
      const stored = firing
        ? await answer(
            api.PATCH("/v1/studios/{firing.name}/firings/{firing.name_1}", {
              params: { path: { "firing.name": studio, "firing.name_1": idOf(firing.name) }, query: { ...query, updateMask: "display_name,plan,kiln,notes" } },
              body: { ...body, etag: firing.etag },
            }),
          )
        : await answer(api.POST("/v1/studios/{parent}/firings", { params: { path: { parent: studio }, query }, body }));
      await firings(studio).reload();
      go(address(studio, "firings", idOf(stored.name)), firing ? "replace" : "push");
    }, "Saved.");
  const remove = () =>
    saving.run(async () => {
      if (!firing || !confirm(`Delete ${firing.displayName}? Tiles keep the firing of their day.`)) return;
      await answer(
        api.DELETE("/v1/studios/{name}/firings/{name_1}", {
          params: { path: { name: studio, name_1: idOf(firing.name) }, query: { requestId: newRequestId(), ...(firing.etag && { etag: firing.etag }) } },
        }),
      );
      await firings(studio).reload();
      go(address(studio, "firings"));
    });
  const h = heat.value;
  const curve = (h?.curve ?? []).map((p) => ({ x: (p.minutes ?? 0) / 60, y: p.temperatureC ?? 0 }));
  return (
    <div class="split even">
      <Panel title={firing ? (firing.displayName ?? "") : "New firing"}>
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void save();
          }}
        >
          <TextField label="What people call it" value={draft.displayName ?? ""} maxLength={120} required onValue={(displayName) => set({ displayName })} />
          <PlanEditor plan={plan} onPlan={(p) => set({ plan: p })} />
          <TextField label="Kiln" value={draft.kiln ?? ""} maxLength={60} hint="Tiles of one kiln share what is learnt of it." onValue={(kiln) => set({ kiln })} />
          <TextField label="Notes" lines={2} value={draft.notes ?? ""} maxLength={4000} onValue={(notes) => set({ notes })} />
          <p class="row">
            <button type="submit" class="main" disabled={saving.busy || !(draft.displayName ?? "").trim()}>
              {firing ? "Save changes" : "Store the firing"}
            </button>
            {firing && (
              <button type="button" onClick={remove}>
                Delete
              </button>
            )}
          </p>
          {saving.problem && <Failed problem={saving.problem} />}
        </form>
      </Panel>
      <Panel title="What it does">
        {heat.problem && <Failed problem={heat.problem} />}
        {!h && heat.busy && <Waiting what="Heating up" />}
        {!h && !heat.busy && !heat.problem && <p class="hint">Say a cone, segments or a log.</p>}
        {h && (
          <>
            <div class="figures4">
              <div>
                <strong>{h.equivalentCone}</strong>
                <span>equivalent cone</span>
              </div>
              <div>
                <strong>{h.peakC?.toFixed(0)} °C</strong>
                <span>peak</span>
              </div>
              <div>
                <strong>{h.minutesNearPeak?.toFixed(0)} min</strong>
                <span>within 100 °C of it</span>
              </div>
              {(h.witnessShiftC ?? 0) !== 0 && (
                <div>
                  <strong>
                    {(h.witnessShiftC ?? 0) > 0 ? "+" : "−"}
                    {Math.abs(h.witnessShiftC ?? 0).toFixed(0)} °C
                  </strong>
                  <span>by the witness cone</span>
                </div>
              )}
            </div>
            <Plot label="Temperature over time" x={{ label: "hours" }} y={{ label: "°C" }} marks={[{ kind: "line", name: "temperature", points: curve }]} rules={h.peakC ? [{ at: h.peakC, along: "x", text: `${h.peakC.toFixed(0)} °C` }] : []} />
            {h.notes?.map((n) => (
              <p class="hint" key={n}>
                {n}
              </p>
            ))}
            <p class="hint">Where the kiln’s maker or a licensed fitter says otherwise about your kiln, they are right.</p>
          </>
        )}
      </Panel>
    </div>
  );
}
