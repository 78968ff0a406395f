// Glazes: what is known of each, its formula, its viscosity, and how far it runs alone.
import { useEffect, useRef, useState } from "preact/hooks";
import { answer, api } from "../api/client";
import type { Composition, DescribeMeltResponse, Glaze, Recipe } from "../api/types";
import { useAnswer } from "../asking";
import type { Draft } from "../entries";
import { firings, glazes, ready } from "../lists";
import { idOf, nameFolded, nameOf, optionsOf, said } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { thenReread } from "../saving";
import { layeringOf, newLayer, questionToQuery, usualWall } from "../scoring";
import { toShown } from "../units";
import { usesOfGlaze } from "../uses";
import { confirmed } from "../parts/ask";
import { Choice, NumberField, OneOf, TextField, type Option } from "../parts/fields";
import { Form, useForm } from "../parts/form";
import { glazeMore } from "../parts/layers";
import { LotList } from "../parts/lots";
import { addsUp, OxideEditor, OxideName, oxides, total } from "../parts/oxides";
import { Plot, type Mark, type Point } from "../parts/plot";
import { blankRecipe, isRecipe, RecipeEditor, withoutEmptyLines } from "../parts/recipe";
import { RemoveButton } from "../parts/removal";
import { Empty, Failed, Panel, Scrolled, Waiting, When } from "../parts/states";

const surfaces: Option[] = [
  { value: "SURFACE_GLOSS", text: "Gloss" },
  { value: "SURFACE_SATIN", text: "Satin" },
  { value: "SURFACE_MATTE", text: "Matte" },
];

const behaviours: Option[] = [
  { value: "BEHAVIOUR_UNSPECIFIED", text: "Not known" },
  { value: "BEHAVIOUR_STIFF", text: "Stiff: keeps brush marks" },
  { value: "BEHAVIOUR_STABLE", text: "Stable: smooth, does not move" },
  { value: "BEHAVIOUR_MOBILE", text: "Mobile: moves some millimetres" },
  { value: "BEHAVIOUR_RUNNY", text: "Runny: more than a centimetre" },
];

type Chemistry = "recipe" | "analysis" | "seger" | "described";

function chemistryOf(g: Glaze): Chemistry {
  return g.recipe ? "recipe" : g.analysis ? "analysis" : g.seger ? "seger" : "described";
}

export function GlazesPage({ studio }: { studio: string }) {
  const resource = glazes(studio);
  const { item } = route.value;
  return (
    <>
      <div class="title">
        <h1>Glazes</h1>
        <p>From a recipe to its melt</p>
      </div>
      <When loaded={resource.value} what="Fetching the glazes" onRetry={() => resource.reload()}>
        {(all) => {
          const found = all.find((g) => idOf(g.name) === item);
          const names = new Map(optionsOf(all).map((o) => [o.value, o.text]));
          return (
            <div class={item ? "split opened" : "split"}>
              <Panel title="In this studio" class="no-print list">
                <a class="button" href={address(studio, "glazes", "new")}>
                  + New glaze
                </a>
                {all.length === 0 && <p class="hint">None yet. A jar off a shelf will do: its name, cone and behaviour are enough to start.</p>}
                <ul class="items">
                  {all.map((g) => (
                    <li key={g.name}>
                      <a href={address(studio, "glazes", idOf(g.name))} aria-current={g.name === found?.name ? "true" : undefined}>
                        <span>{g.displayName}</span>
                        <small>{names.get(idOf(g.name)) !== g.displayName ? idOf(g.name) + " · " : ""}{g.described ? "described" : `cone ${g.coneFrom || "?"}`}</small>
                      </a>
                    </li>
                  ))}
                </ul>
              </Panel>
              <div class="stack">
                <a class="back" href={address(studio, "glazes")}>← All glazes</a>
                {item === "new" ? (
                  <GlazeEditor key="new" studio={studio} />
                ) : found ? (
                  <GlazeEditor key={found.name} studio={studio} glaze={found} />
                ) : item ? (
                  <Empty title={`No glaze is called “${item}” here`}>
                    <p>It may have been deleted. Tiles keep the composition of their day.</p>
                  </Empty>
                ) : (
                  <Empty title="Choose a glaze">
                    <p>Its formula, its viscosity over temperature and its run alone are shown here.</p>
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

// What can be typed of a glaze.
type Typed = Pick<Glaze, "displayName" | "recipe" | "analysis" | "seger" | "described" | "surface" | "coneFrom" | "coneTo" | "notes" | "etag">;

const blankGlaze: Typed = { displayName: "", surface: "SURFACE_GLOSS", coneFrom: "6", coneTo: "6", recipe: { ingredients: [{ material: "" }] } };

function typedOf({ displayName, recipe, analysis, seger, described, surface, coneFrom, coneTo, notes, etag }: Glaze): Typed {
  return { displayName, recipe, analysis, seger, described, surface, coneFrom, coneTo, notes, etag };
}

const labels = {
  displayName: "Name",
  recipe: "Recipe",
  analysis: "Analysis",
  seger: "Seger formula",
  described: "Behaviour",
  surface: "Surface",
  coneFrom: "From cone",
  coneTo: "To cone",
  notes: "Notes",
};

// Asks about an analysis that does not add up, and about a second glaze of one name.
async function sureOfGlaze(g: Glaze, others: Glaze[]): Promise<boolean> {
  if (g.analysis && said(g.analysis.basis, "ANALYSIS_BASIS_MASS") === "ANALYSIS_BASIS_MASS") {
    const sum = total(g.analysis.oxidesPercent ?? {});
    if (!addsUp(sum) && !addsUp(sum + (g.analysis.loiPercent ?? 0)) && !(await confirmed(`The analysis adds up to ${Number(sum.toFixed(2))} %`, <p>A whole analysis adds up to about 100 %. Is an oxide missing, or a number wrong?</p>, "Store it all the same"))) return false;
  }
  const twins = others.filter((o) => nameFolded(o.displayName ?? "") === nameFolded(g.displayName ?? ""));
  if (twins.length === 0) return true;
  return confirmed(
    `There is a glaze called ${twins[0]!.displayName} already`,
    <>
      <ul class="plain-list">
        {twins.map((o) => (
          <li key={o.name}>
            {idOf(o.name)}: {glazeMore(o) || "no more is known"}
          </li>
        ))}
      </ul>
      <p>In lists both are shown with what tells them apart. Another name is easier to choose by.</p>
    </>,
    "Store it all the same",
  );
}

function GlazeEditor({ studio, glaze }: { studio: string; glaze?: Glaze }) {
  const form = useForm<Typed>(`catchline.form.${studio}.glaze.${idOf(glaze?.name)}`, glaze ? typedOf(glaze) : blankGlaze);
  const { draft, set } = form;
  const kind = chemistryOf(draft as Glaze);
  // What was typed of another chemistry comes back with it.
  const before = useRef<Partial<Draft<Typed>>>({});
  const setKind = (next: string) => {
    before.current = { ...before.current, [kind]: draft[kind] };
    const { recipe = blankRecipe, analysis = { basis: "ANALYSIS_BASIS_MASS", oxidesPercent: {} }, seger = { moles: {} }, described = { behaviour: "BEHAVIOUR_STABLE" } } = before.current;
    const all: Partial<Draft<Typed>> = { recipe, analysis, seger, described };
    set({ recipe: undefined, analysis: undefined, seger: undefined, described: undefined, [next]: all[next as Chemistry] });
  };

  // The melt follows as one types; while something cannot be read it stays as it was, and says so.
  const readable = form.value && sentOf(form.value);
  const askable =
    readable !== undefined &&
    (kind === "described" ? (readable.coneFrom ?? "") !== "" : kind === "recipe" ? isRecipe(readable.recipe) : Object.keys((kind === "seger" ? readable.seger?.moles : readable.analysis?.oxidesPercent) ?? {}).length > 0);
  const last = useRef<Glaze | null>(null);
  if (askable) last.current = { ...readable, displayName: readable.displayName?.trim() || "draft", etag: undefined };
  const melt = useAnswer<Glaze, DescribeMeltResponse>(
    last.current,
    (inlineGlaze, signal) => answer(api.POST("/v1/studios/{studio}/glazes:describeMelt", { params: { path: { studio } }, body: { inlineGlaze }, signal })),
    250,
  );

  const store = async (typed: Typed, requestId: string) => {
    const { etag, ...body } = sentOf(typed);
    const stored = await thenReread(
      answer(
        glaze
          ? api.PATCH("/v1/studios/{studio}/glazes/{glaze}", {
              params: { path: { studio, glaze: idOf(glaze.name) }, query: { requestId, updateMask: `display_name,${kind},surface,cone_from,cone_to,notes` } },
              body: { ...body, etag },
            })
          : api.POST("/v1/studios/{studio}/glazes", { params: { path: { studio }, query: { requestId } }, body }),
      ),
      () => glazes(studio).reload(),
    );
    go(address(studio, "glazes", idOf(stored.name)), glaze ? "replace" : "push");
  };

  return (
    <>
      <Panel title={glaze ? (glaze.displayName ?? "") : "New glaze"}>
        <Form
          form={form}
          labels={labels}
          submit={glaze ? "Save changes" : "Store the glaze"}
          done="Saved."
          sure={async (typed) => ((await sureOfGlaze(typed, ready(glazes(studio)).filter((o) => o.name !== glaze?.name))) ? typed : undefined)}
          onStore={store}
          more={
            glaze && (
              <RemoveButton
                name={glaze.displayName ?? idOf(glaze.name)}
                uses={() => usesOfGlaze(studio, glaze.name!)}
                onRemove={async (requestId) => {
                  await answer(
                    api.DELETE("/v1/studios/{studio}/glazes/{glaze}", {
                      params: { path: { studio, glaze: idOf(glaze.name) }, query: { requestId, ...(glaze.etag && { etag: glaze.etag }) } },
                    }),
                  );
                  form.drop();
                  await glazes(studio).reload();
                  go(address(studio, "glazes"));
                }}
              />
            )
          }
        >
          <TextField label="Name" value={draft.displayName ?? ""} maxLength={120} required onValue={(displayName) => set({ displayName })} />
          <OneOf
            label="Known by"
            value={kind}
            options={[
              { value: "recipe", text: "Recipe" },
              { value: "analysis", text: "Analysis" },
              { value: "seger", text: "Seger formula" },
              { value: "described", text: "Behaviour" },
            ]}
            onValue={setKind}
          />
          {draft.recipe && <RecipeEditor studio={studio} recipe={draft.recipe} onRecipe={(recipe) => set({ recipe })} />}
          {draft.analysis && (
            <>
              <Choice
                label="Percent of"
                value={said(draft.analysis.basis, "ANALYSIS_BASIS_MASS")}
                options={[
                  { value: "ANALYSIS_BASIS_MASS", text: "mass" },
                  { value: "ANALYSIS_BASIS_MOLE", text: "moles" },
                ]}
                onValue={(basis) => set({ analysis: { ...draft.analysis, basis: basis as "ANALYSIS_BASIS_MASS" } })}
              />
              <OxideEditor unit="%" max={100} values={draft.analysis.oxidesPercent ?? {}} onValues={(oxidesPercent) => set({ analysis: { ...draft.analysis, oxidesPercent } })} />
              <NumberField label="Loss on ignition" unit="%" value={draft.analysis.loiPercent} min={0} max={60} hint="Of the raw glaze. Default: 8 %." onValue={(loiPercent) => set({ analysis: { ...draft.analysis, loiPercent } })} />
            </>
          )}
          {draft.seger && (
            <>
              <OxideEditor unit="mol" max={100} values={draft.seger.moles ?? {}} onValues={(moles) => set({ seger: { ...draft.seger, moles } })} />
              <NumberField label="Loss on ignition" unit="%" value={draft.seger.loiPercent} min={0} max={60} hint="Of the raw glaze. Default: 8 %." onValue={(loiPercent) => set({ seger: { ...draft.seger, loiPercent } })} />
            </>
          )}
          {draft.described && (
            <Choice
              label="Alone on an upright tile, two coats"
              value={draft.described.behaviour ?? "BEHAVIOUR_UNSPECIFIED"}
              options={behaviours}
              onValue={(behaviour) => set({ described: { behaviour: behaviour as "BEHAVIOUR_STABLE" } })}
            />
          )}
          <div class="pair">
            <Choice label="Surface" value={said(draft.surface, "SURFACE_GLOSS")} options={surfaces} onValue={(surface) => set({ surface: surface as "SURFACE_GLOSS" })} />
            <TextField label="From cone" value={draft.coneFrom ?? ""} maxLength={4} required={kind === "described"} onValue={(coneFrom) => set({ coneFrom: coneFrom.trim() })} />
            <TextField label="To cone" value={draft.coneTo ?? ""} maxLength={4} onValue={(coneTo) => set({ coneTo: coneTo.trim() })} />
          </div>
          <TextField label="Notes" lines={2} value={draft.notes ?? ""} maxLength={4000} onValue={(notes) => set({ notes })} />
        </Form>
      </Panel>
      {!askable && melt.value && <p class="notice">The formula and the viscosity are those of the last entry that could be read.</p>}
      {melt.problem && <Failed problem={melt.problem} />}
      {!melt.value && melt.busy && <Waiting what="Melting it" />}
      {melt.value && (
        <div class="twin">
          <Panel title="Seger formula">
            <Unity composition={melt.value.composition} />
            {melt.value.notes?.map((n) => (
              <p class="hint" key={n}>
                {n}
              </p>
            ))}
          </Panel>
          <Panel title="Viscosity">
            <ViscosityPlot melt={melt.value} />
          </Panel>
        </div>
      )}
      {glaze && (
        <div class="twin">
          <Panel title="Alone, by coats">
            <SoloByCoats studio={studio} glaze={glaze} />
          </Panel>
          <LotList studio={studio} glaze={glaze} />
        </div>
      )}
    </>
  );
}

function sentOf(typed: Typed): Typed {
  const sent = { ...typed, displayName: (typed.displayName ?? "").trim() };
  return sent.recipe ? { ...sent, recipe: withoutEmptyLines(sent.recipe) as Recipe } : sent;
}

function Unity({ composition }: { composition: Composition | undefined }) {
  if (!composition) return <p class="hint">The chemistry is not known: its viscosity is taken from how it behaves, with a wide band, until tiles narrow it.</p>;
  const rows = oxides.filter((o) => composition.moleFractions?.[o]);
  return (
    <>
      <Scrolled label="Composition">
        <table>
          <thead>
            <tr>
              <th scope="col">Oxide</th>
              <th scope="col" class="n">
                Seger, mol
              </th>
              <th scope="col" class="n">
                % of mass
              </th>
            </tr>
          </thead>
          <tbody>
            {rows.map((o) => (
              <tr key={o}>
                <th scope="row">
                  <OxideName formula={o} />
                </th>
                <td class="n">{composition.seger?.[o]?.toFixed(3) ?? "—"}</td>
                <td class="n">{composition.massPercent?.[o]?.toFixed(2)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Scrolled>
      <p>
        {composition.silicaToAlumina !== undefined && (
          <>
            Silica to alumina <strong>{composition.silicaToAlumina.toFixed(1)}</strong>.{" "}
          </>
        )}
        Loss on ignition {(composition.loiPercent ?? 0).toFixed(1)} %.
      </p>
      {composition.notes?.map((n) => (
        <p class="hint" key={n}>
          {n}
        </p>
      ))}
    </>
  );
}

function ViscosityPlot({ melt }: { melt: DescribeMeltResponse }) {
  const curve = (melt.curve ?? []).map<Point>((p) => {
    const y = p.log10ViscosityPaS ?? 0;
    const sd = 1.2816 * (p.log10ViscositySd ?? 0); // 80 % of a normal distribution
    return { x: p.temperatureC ?? 0, y, low: y - sd, high: y + sd };
  });
  const marks: Mark[] = [
    { kind: "band", name: "80 % interval", points: curve },
    { kind: "line", name: "log₁₀ viscosity", points: curve },
  ];
  return (
    <>
      <Plot label="log10 of the viscosity in pascal seconds over temperature" x={{ label: "temperature, °C" }} y={{ label: "log₁₀ η, Pa·s" }} marks={marks} rules={[{ at: 3, along: "x", text: "1000 Pa·s" }]} />
      <p class="hint">
        {melt.isokoms?.map((i) => `log₁₀ η = ${i.log10ViscosityPaS} at ${i.temperatureC?.toFixed(0)} °C`).join("; ")}
        {melt.ferrousShare !== undefined && `. Of the iron, ${(melt.ferrousShare * 100).toFixed(0)} % is ferrous at 1200 °C`}
      </p>
    </>
  );
}

interface Solo {
  coats: number;
  median: number;
  low: number;
  high: number;
}

function SoloByCoats({ studio, glaze }: { studio: string; glaze: Glaze }) {
  const knownFirings = ready(firings(studio));
  const [firing, setFiring] = useState("");
  useEffect(() => {
    if (!firing && knownFirings.length > 0) setFiring(idOf(knownFirings[0]!.name));
  }, [knownFirings.length]);
  const id = idOf(glaze.name);
  const solo = useAnswer<unknown, Solo[]>(firing ? { id, firing, etag: glaze.etag } : null, (_, signal) =>
    Promise.all(
      [1, 2, 3, 4, 5, 6].map(async (coats) => {
        const score = await answer(
          api.POST("/v1/studios/{studio}:score", {
            params: { path: { studio } },
            body: { layering: layeringOf(studio, [{ ...newLayer(id), coats }], ""), firing: nameOf(studio, "firings", firing) },
            signal,
          }),
        );
        return { coats, median: score.medianRunMm ?? 0, low: score.runP10Mm ?? 0, high: score.runP90Mm ?? 0 };
      }),
    ),
  );
  const u = unit.value;
  const points = (solo.value ?? []).map<Point>((s) => ({ x: s.coats, y: toShown(s.median, u), low: toShown(s.low, u), high: toShown(s.high, u), title: `${s.coats} coats` }));
  return (
    <>
      <Choice label="In the firing" value={firing} options={knownFirings.map((f) => ({ value: idOf(f.name), text: f.displayName ?? "" }))} onValue={setFiring} />
      {knownFirings.length === 0 && <p class="hint">A firing is needed for this.</p>}
      {solo.problem && <Failed problem={solo.problem} />}
      {!solo.value && solo.busy && <Waiting what="Scoring one to six coats" />}
      {points.length > 0 && (
        <Plot label="Run alone on an upright tile, by brushed coats, with 80 % intervals" x={{ label: "brushed coats", from: 0.5, to: 6.5 }} y={{ label: `run, ${u}`, from: 0 }} marks={[{ kind: "steps", name: "median and 80 %", points }]} />
      )}
      <p>
        <a href={address(studio, "score", "", questionToQuery({ body: "", layers: [newLayer(id)], firing, wall: usualWall, kiln: "" }))}>Score it</a>
      </p>
    </>
  );
}
