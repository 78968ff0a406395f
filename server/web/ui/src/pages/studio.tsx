// Studio: its settings, its clay bodies and raw materials, and who may do what.
import { answer, api } from "../api/client";
import type { Body, Material, Studio, StudioSettings } from "../api/types";
import { numberIn, scaled, type Draft } from "../entries";
import { bodies, materials, studios } from "../lists";
import { idOf } from "../names";
import { address, go } from "../route";
import { thenReread } from "../saving";
import { usesOf, usesOfMaterial } from "../uses";
import { confirmed } from "../parts/ask";
import { NumberField, NumbersField, TextField } from "../parts/fields";
import { Form, useForm } from "../parts/form";
import { Keys } from "../parts/keys";
import { addsUp, OxideEditor, total } from "../parts/oxides";
import { RemoveButton } from "../parts/removal";
import { Empty, Panel, When } from "../parts/states";

const blankStudio: { displayName: string; etag?: string } = { displayName: "" };

export function NewStudio() {
  const form = useForm("catchline.form.studio", blankStudio);
  return (
    <Panel title="Start a studio">
      <Form
        form={form}
        submit="Start studio"
        onStore={async ({ displayName }, requestId) => {
          const made = await answer(api.POST("/v1/studios", { params: { query: { requestId } }, body: { displayName: displayName.trim() } }));
          await studios("").reload();
          go(address(idOf(made.name), "glazes"));
        }}
      >
        <TextField label="Name" value={form.draft.displayName} onValue={(displayName) => form.set({ displayName })} maxLength={120} required />
      </Form>
    </Panel>
  );
}

export function StudioPage({ studio }: { studio: string }) {
  const resource = studios("");
  return (
    <>
      <div class="title">
        <h1>Studio</h1>
        <p>What you tolerate, what mishaps cost, how thick your coats come out</p>
      </div>
      <When loaded={resource.value} what="Fetching the studio" onRetry={() => resource.reload()}>
        {(all) => {
          const found = all.find((s) => idOf(s.name) === studio);
          if (!found)
            return (
              <Empty title={`No studio is called “${studio}”`}>
                <p>
                  <a href="/">Choose another one</a>
                </p>
              </Empty>
            );
          return (
            <div class="split even">
              <Settings studio={found} />
              <div class="stack">
                <Bodies studio={studio} />
                <Materials studio={studio} />
                <Keys studio={studio} />
              </div>
            </div>
          );
        }}
      </When>
    </>
  );
}

interface Typed {
  displayName: string;
  settings: StudioSettings;
  etag?: string;
}

const labels = { displayName: "Name", settings: "Settings" };

function Settings({ studio }: { studio: Studio }) {
  const form = useForm<Typed>(`catchline.form.${idOf(studio.name)}.settings`, { displayName: studio.displayName ?? "", settings: studio.settings ?? {}, etag: studio.etag });
  const { settings } = form.draft;
  const set = (next: Partial<Draft<StudioSettings>>) => form.set({ settings: { ...settings, ...next } });
  const { thresholds = {}, costs = {}, hand = {} } = settings;
  // The words for risk have to rise.
  const [low, moderate, high] = [numberIn(thresholds.low) ?? 0.05, numberIn(thresholds.moderate) ?? 0.2, numberIn(thresholds.high) ?? 0.5];
  return (
    <Panel title="Settings">
      <Form
        form={form}
        labels={labels}
        submit="Save settings"
        done="Saved."
        onStore={({ displayName, settings, etag }, requestId) =>
          thenReread(
            answer(
              api.PATCH("/v1/studios/{studio}", {
                params: { path: { studio: idOf(studio.name) }, query: { updateMask: "display_name,settings", requestId } },
                body: { displayName: displayName.trim(), etag, settings },
              }),
            ),
            () => studios("").reload(),
          )
        }
      >
        <TextField label="Name" value={form.draft.displayName} onValue={(displayName) => form.set({ displayName })} maxLength={120} required />
        <NumberField label="Tolerated chance of passing the foot" unit="%" value={scaled(settings.toleratedRisk, 100)} min={0.1} max={50} hint="Default: 5 %." onValue={(v) => set({ toleratedRisk: scaled(v, 0.01) })} />
        <h3>Words for risk</h3>
        <div class="pair">
          <NumberField label="Low up to" unit="%" value={scaled(thresholds.low, 100)} min={0} max={100} hint="5 %" onValue={(v) => set({ thresholds: { ...thresholds, low: scaled(v, 0.01) } })} />
          <NumberField label="Moderate up to" unit="%" value={scaled(thresholds.moderate, 100)} min={0} max={100} hint="20 %" fault={moderate < low ? "At least what low ends at." : undefined} onValue={(v) => set({ thresholds: { ...thresholds, moderate: scaled(v, 0.01) } })} />
          <NumberField label="High up to" unit="%" value={scaled(thresholds.high, 100)} min={0} max={100} hint="50 %" fault={high < moderate ? "At least what moderate ends at." : undefined} onValue={(v) => set({ thresholds: { ...thresholds, high: scaled(v, 0.01) } })} />
        </div>
        <h3>What things cost, in your currency</h3>
        <p class="hint">Empty fields take the defaults, which are common practice without a source.</p>
        <div class="pair">
          <NumberField label="Grinding a shelf" value={costs.grindShelf} min={0} max={1e6} onValue={(v) => set({ costs: { ...costs, grindShelf: v } })} />
          <NumberField label="A lost shelf" value={costs.loseShelf} min={0} max={1e6} onValue={(v) => set({ costs: { ...costs, loseShelf: v } })} />
          <NumberField label="A lost piece" value={costs.loseWare} min={0} max={1e6} onValue={(v) => set({ costs: { ...costs, loseWare: v } })} />
          <NumberField label="A plain cookie" value={costs.plainCookie} min={0} max={1e6} onValue={(v) => set({ costs: { ...costs, plainCookie: v } })} />
          <NumberField label="A dished cookie" value={costs.dishedCookie} min={0} max={1e6} onValue={(v) => set({ costs: { ...costs, dishedCookie: v } })} />
        </div>
        <div class="pair">
          <NumbersField label="Cookie diameters, mm" values={settings.cookieDiametersMm ?? []} onValues={(cookieDiametersMm) => set({ cookieDiametersMm })} unit="mm" min={10} max={1000} hint="Those you make, for example 80, 100, 120." />
          <NumbersField label="Cookie thicknesses, mm" values={settings.cookieThicknessesMm ?? []} onValues={(cookieThicknessesMm) => set({ cookieThicknessesMm })} unit="mm" min={1} max={100} hint="For example 8, 12." />
        </div>
        <h3>One coat, fired, in µm</h3>
        <div class="pair">
          <NumberField label="Brushed" unit="µm" value={hand.brushUmPerCoat} min={10} max={2000} hint="115" onValue={(v) => set({ hand: { ...hand, brushUmPerCoat: v } })} />
          <NumberField label="Dipped" unit="µm" value={hand.dipUmPerCoat} min={10} max={2000} hint="375" onValue={(v) => set({ hand: { ...hand, dipUmPerCoat: v } })} />
          <NumberField label="Sprayed" unit="µm" value={hand.sprayUmPerCoat} min={10} max={2000} hint="300" onValue={(v) => set({ hand: { ...hand, sprayUmPerCoat: v } })} />
        </div>
        <NumberField label="Stirring between layers" unit="×" value={settings.stirring} min={1} max={200} hint="Factor on diffusion, since gas and brush stir. Default: 5." onValue={(v) => set({ stirring: v })} />
      </Form>
    </Panel>
  );
}

interface TypedBody {
  displayName: string;
  bisqueAbsorptionPercent?: number;
  etag?: string;
}

function Bodies({ studio }: { studio: string }) {
  const resource = bodies(studio);
  return (
    <Panel title="Bodies">
      <When loaded={resource.value} what="Fetching the bodies" onRetry={() => resource.reload()}>
        {(all) =>
          all.length === 0 ? (
            <p class="hint">No body yet. A body may be left out of a score; what it does is learnt from tiles.</p>
          ) : (
            <ul class="tile-list">
              {all.map((b) => (
                <li class="tile" key={b.name}>
                  <strong>{b.displayName}</strong>
                  {b.bisqueAbsorptionPercent !== undefined && <span class="hint">bisque takes up {b.bisqueAbsorptionPercent} % of its mass in water</span>}
                  <details>
                    <summary>Change {b.displayName}</summary>
                    <BodyForm studio={studio} body={b} />
                  </details>
                </li>
              ))}
            </ul>
          )
        }
      </When>
      <BodyForm studio={studio} />
    </Panel>
  );
}

function BodyForm({ studio, body }: { studio: string; body?: Body }) {
  const list = bodies(studio);
  const form = useForm<TypedBody>(`catchline.form.${studio}.body.${idOf(body?.name)}`, { displayName: body?.displayName ?? "", bisqueAbsorptionPercent: body?.bisqueAbsorptionPercent, etag: body?.etag });
  return (
    <Form
      form={form}
      labels={{ displayName: "Name", bisqueAbsorptionPercent: "Absorption of the bisque" }}
      main={false}
      submit={body ? "Save the body" : "Add the body"}
      done={body ? "Saved." : "Body added."}
      onStore={({ displayName, bisqueAbsorptionPercent, etag }, requestId) => {
        const sent: Body = { displayName: displayName.trim() };
        if (bisqueAbsorptionPercent !== undefined) sent.bisqueAbsorptionPercent = bisqueAbsorptionPercent;
        return thenReread(
          answer(
            body
              ? api.PATCH("/v1/studios/{studio}/bodies/{body}", {
                  params: { path: { studio, body: idOf(body.name) }, query: { requestId, updateMask: "display_name,bisque_absorption_percent" } },
                  body: { ...sent, etag },
                })
              : api.POST("/v1/studios/{studio}/bodies", { params: { path: { studio }, query: { requestId } }, body: sent }),
          ),
          () => list.reload(),
        );
      }}
      more={
        body && (
          <RemoveButton
            label="Delete the body"
            name={body.displayName ?? idOf(body.name)}
            uses={() => usesOf(studio, body.name!)}
            onRemove={async (requestId) => {
              await answer(
                api.DELETE("/v1/studios/{studio}/bodies/{body}", { params: { path: { studio, body: idOf(body.name) }, query: { requestId, ...(body.etag && { etag: body.etag }) } } }),
              );
              form.drop();
              await list.reload();
            }}
          />
        )
      }
    >
      <div class="pair">
        <TextField label={body ? "Name of the body" : "New body"} value={form.draft.displayName} onValue={(displayName) => form.set({ displayName })} maxLength={120} required />
        <NumberField label="Absorption of the bisque" unit="%" value={form.draft.bisqueAbsorptionPercent} min={0} max={40} hint="If you know it." onValue={(bisqueAbsorptionPercent) => form.set({ bisqueAbsorptionPercent })} />
      </div>
    </Form>
  );
}

interface TypedMaterial {
  displayName: string;
  oxidesPercent: { [oxide: string]: number };
  loiPercent?: number;
  source: string;
  etag?: string;
}

// The studio's own raw materials; the built-in minerals need no entry.
function Materials({ studio }: { studio: string }) {
  const resource = materials(studio);
  return (
    <Panel title="Raw materials">
      <When loaded={resource.value} what="Fetching the materials" onRetry={() => resource.reload()}>
        {(all) => {
          const own = all.filter((m) => !m.builtIn);
          return (
            <>
              <p class="hint">
                Recipes can use {all.length - own.length} minerals that every studio has
                {own.length > 0 ? ", and yours:" : ". Enter what is on the analysis of a sack where it differs."}
              </p>
              <ul class="tile-list">
                {own.map((m) => (
                  <li class="tile" key={m.name}>
                    <strong>{m.displayName}</strong>
                    <span class="hint">
                      {Object.entries(m.oxidesPercent ?? {})
                        .map(([oxide, share]) => `${oxide} ${share}`)
                        .join(", ")}
                      {m.loiPercent !== undefined && `, loss on ignition ${m.loiPercent} %`} {m.source && `(${m.source})`}
                    </span>
                    <details>
                      <summary>Change {m.displayName}</summary>
                      <MaterialForm studio={studio} material={m} />
                    </details>
                  </li>
                ))}
              </ul>
            </>
          );
        }}
      </When>
      <details>
        <summary>New material</summary>
        <MaterialForm studio={studio} />
      </details>
    </Panel>
  );
}

// What is missing to 100 is taken for loss on ignition where none is given, so an analysis that does not add up asks first.
async function sureOfMaterial(m: TypedMaterial): Promise<boolean> {
  const sum = total(m.oxidesPercent);
  const all = sum + (m.loiPercent ?? 0);
  if (addsUp(all)) return true;
  const rest = Number((100 - sum).toFixed(2));
  return confirmed(
    `The analysis adds up to ${Number(all.toFixed(2))} %`,
    m.loiPercent === undefined && rest > 0 ? <p>The other {rest} % are taken for loss on ignition. Is that so, or is an oxide missing?</p> : <p>With its loss on ignition, a whole analysis adds up to about 100 %. Is an oxide missing, or a number wrong?</p>,
    "Store it all the same",
  );
}

function MaterialForm({ studio, material }: { studio: string; material?: Material }) {
  const list = materials(studio);
  const form = useForm<TypedMaterial>(`catchline.form.${studio}.material.${idOf(material?.name)}`, {
    displayName: material?.displayName ?? "",
    oxidesPercent: material?.oxidesPercent ?? {},
    loiPercent: material?.loiPercent,
    source: material?.source ?? "",
    etag: material?.etag,
  });
  const { draft, set } = form;
  return (
    <Form
      form={form}
      labels={{ displayName: "Name in recipes", oxidesPercent: "Analysis", loiPercent: "Loss on ignition", source: "Source" }}
      main={false}
      submit={material ? "Save the material" : "Add material"}
      done={material ? "Saved." : "Material added."}
      disabled={Object.keys(draft.oxidesPercent).length === 0}
      sure={async (m) => ((await sureOfMaterial(m)) ? m : undefined)}
      onStore={({ displayName, oxidesPercent, loiPercent, source, etag }, requestId) => {
        const sent: Material = { displayName: displayName.trim(), oxidesPercent, source: source.trim() };
        if (loiPercent !== undefined) sent.loiPercent = loiPercent;
        return thenReread(
          answer(
            material
              ? api.PATCH("/v1/studios/{studio}/materials/{material}", {
                  params: { path: { studio, material: idOf(material.name) }, query: { requestId, updateMask: "display_name,oxides_percent,loi_percent,source" } },
                  body: { ...sent, etag },
                })
              : api.POST("/v1/studios/{studio}/materials", { params: { path: { studio }, query: { requestId } }, body: sent }),
          ),
          () => list.reload(),
        );
      }}
      more={
        material && (
          <RemoveButton
            label="Delete the material"
            name={material.displayName ?? idOf(material.name)}
            uses={() => usesOfMaterial(studio, material.displayName ?? "")}
            onRemove={async (requestId) => {
              await answer(
                api.DELETE("/v1/studios/{studio}/materials/{material}", {
                  params: { path: { studio, material: idOf(material.name) }, query: { requestId, ...(material.etag && { etag: material.etag }) } },
                }),
              );
              form.drop();
              await list.reload();
            }}
          />
        )
      }
    >
      <TextField label="Name in recipes" value={draft.displayName} maxLength={120} required onValue={(displayName) => set({ displayName })} />
      <OxideEditor unit="%" max={100} values={draft.oxidesPercent} onValues={(oxidesPercent) => set({ oxidesPercent })} />
      <NumberField label="Loss on ignition" unit="%" value={draft.loiPercent} min={-30} max={99} hint="Empty: what is missing to 100." onValue={(loiPercent) => set({ loiPercent })} />
      <TextField label="Source of the analysis" value={draft.source} maxLength={400} onValue={(source) => set({ source })} />
      {material && <p class="hint">Glazes that use it are worked out anew when they are stored again.</p>}
    </Form>
  );
}
