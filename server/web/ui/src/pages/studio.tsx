// Studio: its settings, its clay bodies and raw materials, and who may do what.
import { useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import type { Body, Material, Studio, StudioSettings } from "../api/types";
import { bodies, materials, studios } from "../lists";
import { idOf } from "../names";
import { address, go } from "../route";
import { useSaving } from "../saving";
import { NumberField, TextField } from "../parts/fields";
import { Keys } from "../parts/keys";
import { OxideEditor } from "../parts/oxides";
import { Empty, Failed, Panel, When } from "../parts/states";

export function NewStudio() {
  const [name, setName] = useState("");
  const saving = useSaving();
  const create = () =>
    saving.run(async () => {
      const made = await answer(api.POST("/v1/studios", { params: { query: { requestId: newRequestId() } }, body: { displayName: name.trim() } }));
      await studios("").reload();
      go(address(idOf(made.name), "glazes"));
    });
  return (
    <Panel title="Start a studio">
      <form
        class="stack"
        onSubmit={(e) => {
          e.preventDefault();
          void create();
        }}
      >
        <TextField label="What people call it" value={name} onValue={setName} maxLength={120} required />
        <p class="row">
          <button type="submit" class="main" disabled={!name.trim() || saving.busy}>
            Start it
          </button>
        </p>
        {saving.problem && <Failed problem={saving.problem} />}
      </form>
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
              <Settings key={found.etag} studio={found} />
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

function listText(values: number[] | undefined): string {
  return (values ?? []).join(", ");
}

function readList(text: string): number[] {
  return text.split(/[\s,;]+/).map(Number).filter((n) => Number.isFinite(n) && n > 0);
}

function Settings({ studio }: { studio: Studio }) {
  const [name, setName] = useState(studio.displayName ?? "");
  const [settings, setSettings] = useState<StudioSettings>(studio.settings ?? {});
  const [diameters, setDiameters] = useState(listText(settings.cookieDiametersMm));
  const [thicknesses, setThicknesses] = useState(listText(settings.cookieThicknessesMm));
  const saving = useSaving();
  const set = (next: Partial<StudioSettings>) => setSettings({ ...settings, ...next });
  const share = (v: number | undefined) => (v === undefined ? undefined : v * 100);
  const part = (v: number | undefined) => (v === undefined ? undefined : v / 100);
  const { thresholds = {}, costs = {}, hand = {} } = settings;
  const save = () =>
    saving.run(async () => {
      await answer(
        api.PATCH("/v1/studios/{studio.name}", {
          params: { path: { "studio.name": idOf(studio.name) }, query: { updateMask: "display_name,settings", requestId: newRequestId() } },
          body: {
            displayName: name.trim(),
            etag: studio.etag,
            settings: { ...settings, cookieDiametersMm: readList(diameters), cookieThicknessesMm: readList(thicknesses) },
          },
        }),
      );
      await studios("").reload();
    }, "Saved.");
  return (
    <Panel title="Settings">
      <form
        class="stack"
        onSubmit={(e) => {
          e.preventDefault();
          void save();
        }}
      >
        <TextField label="Name" value={name} onValue={setName} maxLength={120} required />
        <NumberField label="Tolerated chance of passing the foot" unit="%" value={share(settings.toleratedRisk)} min={0.1} max={50} hint="5 % unless you say." onValue={(v) => set({ toleratedRisk: part(v) })} />
        <h3>Words for risk</h3>
        <div class="pair">
          <NumberField label="Low up to" unit="%" value={share(thresholds.low)} min={0} max={100} hint="5 %" onValue={(v) => set({ thresholds: { ...thresholds, low: part(v) } })} />
          <NumberField label="Moderate up to" unit="%" value={share(thresholds.moderate)} min={0} max={100} hint="20 %" onValue={(v) => set({ thresholds: { ...thresholds, moderate: part(v) } })} />
          <NumberField label="High up to" unit="%" value={share(thresholds.high)} min={0} max={100} hint="50 %" onValue={(v) => set({ thresholds: { ...thresholds, high: part(v) } })} />
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
          <TextField label="Cookie diameters, mm" value={diameters} onValue={setDiameters} hint="Those you make, such as 80, 100, 120." />
          <TextField label="Cookie thicknesses, mm" value={thicknesses} onValue={setThicknesses} hint="Such as 8, 12." />
        </div>
        <h3>One coat, fired, in µm</h3>
        <div class="pair">
          <NumberField label="Brushed" unit="µm" value={hand.brushUmPerCoat} min={10} max={2000} hint="115" onValue={(v) => set({ hand: { ...hand, brushUmPerCoat: v } })} />
          <NumberField label="Dipped" unit="µm" value={hand.dipUmPerCoat} min={10} max={2000} hint="375" onValue={(v) => set({ hand: { ...hand, dipUmPerCoat: v } })} />
          <NumberField label="Sprayed" unit="µm" value={hand.sprayUmPerCoat} min={10} max={2000} hint="300" onValue={(v) => set({ hand: { ...hand, sprayUmPerCoat: v } })} />
        </div>
        <NumberField label="Stirring between layers" unit="×" value={settings.stirring} min={1} max={200} hint="Factor on diffusion, for gas and brush that stir; 5 unless you say." onValue={(v) => set({ stirring: v })} />
        <p class="row">
          <button type="submit" class="main" disabled={saving.busy}>
            Save settings
          </button>
        </p>
        {saving.problem && <Failed problem={saving.problem} />}
      </form>
    </Panel>
  );
}

function Bodies({ studio }: { studio: string }) {
  const resource = bodies(studio);
  const [name, setName] = useState("");
  const [absorption, setAbsorption] = useState<number>();
  const saving = useSaving();
  const add = () =>
    saving.run(async () => {
      const body: Body = { displayName: name.trim() };
      if (absorption !== undefined) body.bisqueAbsorptionPercent = absorption;
      await answer(api.POST("/v1/studios/{parent}/bodies", { params: { path: { parent: studio }, query: { requestId: newRequestId() } }, body }));
      await resource.reload();
      setName("");
      setAbsorption(undefined);
    }, "Body added.");
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
                </li>
              ))}
            </ul>
          )
        }
      </When>
      <form
        class="stack"
        onSubmit={(e) => {
          e.preventDefault();
          void add();
        }}
      >
        <div class="pair">
          <TextField label="New body" value={name} onValue={setName} maxLength={120} />
          <NumberField label="Absorption of the bisque" unit="%" value={absorption} min={0} max={40} hint="If you know it." onValue={setAbsorption} />
        </div>
        <p class="row">
          <button type="submit" disabled={!name.trim() || saving.busy}>
            Add the body
          </button>
        </p>
        {saving.problem && <Failed problem={saving.problem} />}
      </form>
    </Panel>
  );
}

// The studio's own raw materials; the built-in minerals need no entry.
function Materials({ studio }: { studio: string }) {
  const resource = materials(studio);
  const [name, setName] = useState("");
  const [oxides, setOxides] = useState<{ [oxide: string]: number }>({});
  const [loi, setLoi] = useState<number>();
  const [source, setSource] = useState("");
  const saving = useSaving();
  const add = () =>
    saving.run(async () => {
      const material: Material = { displayName: name.trim(), oxidesPercent: oxides, source: source.trim() };
      if (loi !== undefined) material.loiPercent = loi;
      await answer(api.POST("/v1/studios/{parent}/materials", { params: { path: { parent: studio }, query: { requestId: newRequestId() } }, body: material }));
      await resource.reload();
      setName("");
      setOxides({});
      setLoi(undefined);
      setSource("");
    }, "Material added.");
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
                        .join(", ")}{" "}
                      {m.source && `(${m.source})`}
                    </span>
                  </li>
                ))}
              </ul>
            </>
          );
        }}
      </When>
      <details>
        <summary>New material</summary>
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void add();
          }}
        >
          <TextField label="Name in recipes" value={name} maxLength={120} onValue={setName} />
          <OxideEditor unit="%" max={100} values={oxides} onValues={setOxides} />
          <NumberField label="Loss on ignition" unit="%" value={loi} min={-30} max={99} hint="Empty: what is missing to 100." onValue={setLoi} />
          <TextField label="Where the numbers are from" value={source} maxLength={400} onValue={setSource} />
          <p class="row">
            <button type="submit" disabled={!name.trim() || Object.keys(oxides).length === 0 || saving.busy}>
              Add the material
            </button>
          </p>
          {saving.problem && <Failed problem={saving.problem} />}
        </form>
      </details>
    </Panel>
  );
}
