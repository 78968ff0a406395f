// Glazes: what is known of each, its formula, its viscosity, and how far it runs alone.
import { useEffect, useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import type { Composition, DescribeMeltResponse, Glaze } from "../api/types";
import { useAnswer } from "../asking";
import { firings, glazes, ready } from "../lists";
import { idOf, nameOf, said } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { useSaving } from "../saving";
import { layeringOf, newLayer, questionToQuery, usualWall } from "../scoring";
import { toShown } from "../units";
import { Choice, NumberField, OneOf, TextField, type Option } from "../parts/fields";
import { LotList } from "../parts/lots";
import { OxideEditor, OxideName, oxides } from "../parts/oxides";
import { Plot, type Mark, type Point } from "../parts/plot";
import { blankRecipe, RecipeEditor, wholeRecipe } from "../parts/recipe";
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
                        <small>{g.described ? "described" : `cone ${g.coneFrom || "?"}`}</small>
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
                  <GlazeEditor key={found.name! + found.etag} studio={studio} glaze={found} />
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

function blankGlaze(): Glaze {
  return { displayName: "", surface: "SURFACE_GLOSS", coneFrom: "6", coneTo: "6", recipe: blankRecipe };
}

function GlazeEditor({ studio, glaze }: { studio: string; glaze?: Glaze }) {
  const [draft, setDraft] = useState<Glaze>(() => glaze ?? blankGlaze());
  const saving = useSaving();
  const kind = chemistryOf(draft);
  const set = (next: Partial<Glaze>) => setDraft({ ...draft, ...next });
  const setKind = (next: string) => {
    const { recipe, analysis, seger, described, ...rest } = draft;
    if (next === "recipe") setDraft({ ...rest, recipe: recipe ?? blankRecipe });
    if (next === "analysis") setDraft({ ...rest, analysis: analysis ?? { basis: "ANALYSIS_BASIS_MASS", oxidesPercent: {} } });
    if (next === "seger") setDraft({ ...rest, seger: seger ?? { moles: {} } });
    if (next === "described") setDraft({ ...rest, described: described ?? { behaviour: "BEHAVIOUR_STABLE" } });
  };

  // The melt follows as one types, from what is whole so far.
  const sent = wholeGlaze(draft);
  const askable = kind === "described" ? (draft.coneFrom ?? "") !== "" : kind === "recipe" ? (sent.recipe?.ingredients?.length ?? 0) > 0 : Object.keys((kind === "seger" ? sent.seger?.moles : sent.analysis?.oxidesPercent) ?? {}).length > 0;
  const melt = useAnswer<Glaze, DescribeMeltResponse>(
    askable ? { ...sent, displayName: sent.displayName || "draft" } : null,
    (inlineGlaze, signal) => answer(api.POST("/v1/studios/{parent}/glazes:describeMelt", { params: { path: { parent: studio } }, body: { inlineGlaze }, signal })),
    250,
  );

  const save = () =>
    saving.run(async () => {
      const query = { requestId: newRequestId() };
      const stored = glaze
        ? await answer(
            api.PATCH("/v1/studios/{glaze.name}/glazes/{glaze.name_1}", {
              params: { path: { "glaze.name": studio, "glaze.name_1": idOf(glaze.name) }, query: { ...query, updateMask: `display_name,${kind},surface,cone_from,cone_to,notes` } },
              body: { ...sent, etag: glaze.etag },
            }),
          )
        : await answer(api.POST("/v1/studios/{parent}/glazes", { params: { path: { parent: studio }, query }, body: sent }));
      await glazes(studio).reload();
      go(address(studio, "glazes", idOf(stored.name)), glaze ? "replace" : "push");
    }, "Saved.");
  const remove = () =>
    saving.run(async () => {
      if (!glaze || !confirm(`Delete ${glaze.displayName} and its lots? Tiles keep the composition of their day.`)) return;
      await answer(
        api.DELETE("/v1/studios/{name}/glazes/{name_1}", {
          params: { path: { name: studio, name_1: idOf(glaze.name) }, query: { requestId: newRequestId(), ...(glaze.etag && { etag: glaze.etag }) } },
        }),
      );
      await glazes(studio).reload();
      go(address(studio, "glazes"));
    });

  return (
    <>
      <Panel title={glaze ? (glaze.displayName ?? "") : "New glaze"}>
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void save();
          }}
        >
          <TextField label="What people call it" value={draft.displayName ?? ""} maxLength={120} required onValue={(displayName) => set({ displayName })} />
          <OneOf
            label="What is known of its chemistry"
            value={kind}
            options={[
              { value: "recipe", text: "Recipe" },
              { value: "analysis", text: "Analysis" },
              { value: "seger", text: "Seger formula" },
              { value: "described", text: "Only how it behaves" },
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
              <NumberField label="Loss on ignition" unit="%" value={draft.analysis.loiPercent} min={0} max={60} hint="Of the raw glaze; 8 unless you say." onValue={(loiPercent) => set({ analysis: { ...draft.analysis, loiPercent } })} />
            </>
          )}
          {draft.seger && (
            <>
              <OxideEditor unit="mol" max={100} values={draft.seger.moles ?? {}} onValues={(moles) => set({ seger: { ...draft.seger, moles } })} />
              <NumberField label="Loss on ignition" unit="%" value={draft.seger.loiPercent} min={0} max={60} hint="Of the raw glaze; 8 unless you say." onValue={(loiPercent) => set({ seger: { ...draft.seger, loiPercent } })} />
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
          <p class="row">
            <button type="submit" class="main" disabled={saving.busy || !(draft.displayName ?? "").trim()}>
              {glaze ? "Save changes" : "Store the glaze"}
            </button>
            {glaze && (
              <button type="button" onClick={remove}>
                Delete
              </button>
            )}
          </p>
          {saving.problem && <Failed problem={saving.problem} />}
        </form>
      </Panel>
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

function wholeGlaze(draft: Glaze): Glaze {
  const { name, createTime, updateTime, composition, etag, ...rest } = draft;
  return rest.recipe ? { ...rest, recipe: wholeRecipe(rest.recipe) } : rest;
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
          api.POST("/v1/studios/{parent}:score", {
            params: { path: { parent: studio } },
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
