// Firings: a plan, the curve that it makes and the cone that it amounts to.
import { useRef } from "preact/hooks";
import { answer, api } from "../api/client";
import type { Firing, FiringPlan, HeatWork } from "../api/types";
import { useAnswer } from "../asking";
import { firings } from "../lists";
import { idOf } from "../names";
import { address, go, route } from "../route";
import { thenReread } from "../saving";
import { usesOfFiring } from "../uses";
import { TextField } from "../parts/fields";
import { Form, useForm } from "../parts/form";
import { PlanEditor } from "../parts/plan";
import { Plot } from "../parts/plot";
import { RemoveButton } from "../parts/removal";
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
                  <FiringEditor key={found.name} studio={studio} firing={found} />
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

type Typed = Pick<Firing, "displayName" | "plan" | "kiln" | "notes" | "etag">;

const blankFiring: Typed = { displayName: "", plan: { cone: { cone: "6" } }, kiln: "", notes: "" };

const labels = { displayName: "Name", plan: "Plan", kiln: "Kiln", notes: "Notes" };

function FiringEditor({ studio, firing }: { studio: string; firing?: Firing }) {
  const form = useForm<Typed>(
    `catchline.form.${studio}.firing.${idOf(firing?.name)}`,
    firing ? { displayName: firing.displayName, plan: firing.plan, kiln: firing.kiln, notes: firing.notes, etag: firing.etag } : blankFiring,
  );
  const { draft, set } = form;
  const plan = draft.plan ?? {};
  // While something cannot be read, the curve stays as it was, and says so.
  const readable = form.value?.plan && isWhole(form.value.plan);
  const last = useRef<FiringPlan | null>(null);
  if (readable) last.current = form.value!.plan!;
  const heat = useAnswer<FiringPlan, HeatWork>(
    last.current,
    (p, signal) => answer(api.POST("/v1/studios/{studio}/firings:preview", { params: { path: { studio } }, body: { plan: p }, signal })),
    200,
  );
  const store = async ({ displayName, plan, kiln, notes, etag }: Typed, requestId: string) => {
    const body: Firing = { displayName: (displayName ?? "").trim(), plan, kiln: kiln ?? "", notes: notes ?? "" };
    const stored = await thenReread(
      answer(
        firing
          ? api.PATCH("/v1/studios/{studio}/firings/{firing}", {
              params: { path: { studio, firing: idOf(firing.name) }, query: { requestId, updateMask: "display_name,plan,kiln,notes" } },
              body: { ...body, etag },
            })
          : api.POST("/v1/studios/{studio}/firings", { params: { path: { studio }, query: { requestId } }, body }),
      ),
      () => firings(studio).reload(),
    );
    go(address(studio, "firings", idOf(stored.name)), firing ? "replace" : "push");
  };
  const h = heat.value;
  const curve = (h?.curve ?? []).map((p) => ({ x: (p.minutes ?? 0) / 60, y: p.temperatureC ?? 0 }));
  return (
    <div class="split even">
      <Panel title={firing ? (firing.displayName ?? "") : "New firing"}>
        <Form
          form={form}
          labels={labels}
          submit={firing ? "Save changes" : "Store the firing"}
          done="Saved."
          onStore={store}
          more={
            firing && (
              <RemoveButton
                name={firing.displayName ?? idOf(firing.name)}
                uses={() => usesOfFiring(studio, firing.name!)}
                onRemove={async (requestId) => {
                  await answer(
                    api.DELETE("/v1/studios/{studio}/firings/{firing}", {
                      params: { path: { studio, firing: idOf(firing.name) }, query: { requestId, ...(firing.etag && { etag: firing.etag }) } },
                    }),
                  );
                  form.drop();
                  await firings(studio).reload();
                  go(address(studio, "firings"));
                }}
              />
            )
          }
        >
          <TextField label="Name" value={draft.displayName ?? ""} maxLength={120} required onValue={(displayName) => set({ displayName })} />
          <PlanEditor plan={plan} onPlan={(p) => set({ plan: p })} />
          <TextField label="Kiln" value={draft.kiln ?? ""} maxLength={60} hint="What tiles teach about a kiln is used for all its firings." onValue={(kiln) => set({ kiln })} />
          <TextField label="Notes" lines={2} value={draft.notes ?? ""} maxLength={4000} onValue={(notes) => set({ notes })} />
        </Form>
      </Panel>
      <Panel title="What it does">
        {!readable && h && <p class="notice">This is the curve of the last entry that could be read.</p>}
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
