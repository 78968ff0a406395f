// The lots of a glaze: which bucket it was, and its own recipe where it was mixed from other materials.
import { answer, api } from "../api/client";
import type { Glaze, Lot, Recipe } from "../api/types";
import type { Draft } from "../entries";
import { lots } from "../lists";
import { idOf } from "../names";
import { address } from "../route";
import { thenReread } from "../saving";
import { usesOfLot } from "../uses";
import { OneOf, TextField } from "./fields";
import { Form, useForm } from "./form";
import { blankRecipe, RecipeEditor, withoutEmptyLines } from "./recipe";
import { RemoveButton } from "./removal";
import { Panel, When } from "./states";

export function LotList({ studio, glaze }: { studio: string; glaze: Glaze }) {
  const id = idOf(glaze.name);
  const resource = lots(`${studio}/${id}`);
  return (
    <Panel title="Lots" aside={<a href={address(studio, "record", "", new URLSearchParams({ lotsOf: id }))}>Compare lots</a>}>
      <When loaded={resource.value} what="Fetching the lots" onRetry={() => resource.reload()}>
        {(all) =>
          all.length === 0 ? (
            <p class="hint">No lot yet. Give each bucket its own, and the record will tell whether the new one runs more.</p>
          ) : (
            <ul class="tile-list">
              {all.map((l) => (
                <li class="tile" key={l.name}>
                  <strong>{l.displayName}</strong>
                  <span class="hint">
                    {chemistryText(l)}
                    {l.notes && ` ${l.notes}`}
                  </span>
                  <details>
                    <summary>Change {l.displayName}</summary>
                    <LotForm studio={studio} glaze={glaze} lot={l} onStored={() => resource.reload()} />
                  </details>
                </li>
              ))}
            </ul>
          )
        }
      </When>
      <LotForm
        studio={studio}
        glaze={glaze}
        onStored={() => resource.reload()}
      />
    </Panel>
  );
}

function chemistryText(l: Lot): string {
  if (l.recipe) return `Its own recipe: ${l.recipe.ingredients?.map((i) => `${i.material} ${i.amount}`).join(", ")}.`;
  if (l.analysis) return "Its own analysis.";
  if (l.seger) return "Its own Seger formula.";
  return "Made as the glaze.";
}

// What is entered over HTTP as an analysis or a formula is kept unless another chemistry is chosen here.
type Chemistry = "glaze" | "recipe" | "other";

interface Typed {
  displayName: string;
  notes: string;
  chemistry: Chemistry;
  recipe: Recipe;
  etag?: string;
}

const labels = { displayName: "Name on the bucket", notes: "Notes", chemistry: "How it was mixed", recipe: "Recipe" };

function LotForm({ studio, glaze, lot, onStored }: { studio: string; glaze: Glaze; lot?: Lot; onStored(): Promise<void> }) {
  const other = lot?.analysis !== undefined || lot?.seger !== undefined;
  const form = useForm<Typed>(`catchline.form.${studio}.lot.${idOf(glaze.name)}.${idOf(lot?.name)}`, {
    displayName: lot?.displayName ?? "",
    notes: lot?.notes ?? "",
    chemistry: lot?.recipe ? "recipe" : other ? "other" : "glaze",
    recipe: lot?.recipe ?? glaze.recipe ?? (blankRecipe as Recipe),
    etag: lot?.etag,
  });
  const { draft, set } = form;
  const at = { studio, glaze: idOf(glaze.name), lot: idOf(lot?.name) };

  const store = async ({ displayName, notes, chemistry, recipe, etag }: Typed, requestId: string) => {
    const body: Lot = { displayName: displayName.trim(), notes: notes.trim() };
    if (chemistry === "recipe") body.recipe = withoutEmptyLines(recipe) as Recipe;
    const query = { requestId };
    if (lot) {
      const mask = ["display_name", "notes"];
      if (chemistry === "recipe") mask.push("recipe");
      if (chemistry === "glaze") mask.push(lot.analysis ? "analysis" : lot.seger ? "seger" : "recipe");
      await thenReread(
        answer(
          api.PATCH("/v1/studios/{studio}/glazes/{glaze}/lots/{lot}", {
            params: { path: at, query: { ...query, updateMask: mask.join(",") } },
            body: { ...body, etag },
          }),
        ),
        onStored,
      );
    } else {
      await answer(api.POST("/v1/studios/{studio}/glazes/{glaze}/lots", { params: { path: { studio, glaze: idOf(glaze.name) }, query }, body }));
      await onStored();
    }
  };

  return (
    <Form
      form={form}
      labels={labels}
      main={false}
      submit={lot ? "Save the lot" : "Add the lot"}
      done={lot ? "Saved." : "Lot added."}
      onStore={store}
      more={
        lot && (
          <RemoveButton
            label="Delete the lot"
            name={lot.displayName ?? idOf(lot.name)}
            uses={() => usesOfLot(studio, glaze.name!, lot.name!)}
            onRemove={async (requestId) => {
              await answer(
                api.DELETE("/v1/studios/{studio}/glazes/{glaze}/lots/{lot}", {
                  params: { path: { studio, glaze: idOf(glaze.name), lot: idOf(lot.name) }, query: { requestId, ...(lot.etag && { etag: lot.etag }) } },
                }),
              );
              form.drop();
              await onStored();
            }}
          />
        )
      }
    >
      <TextField label={lot ? "Name on the bucket" : "New lot"} hint={lot ? undefined : "What is written on the bucket."} value={draft.displayName} maxLength={120} required onValue={(displayName) => set({ displayName })} />
      <TextField label={lot ? "Notes on this lot" : "Notes on it"} value={draft.notes} maxLength={4000} onValue={(notes) => set({ notes })} />
      <OneOf
        label="How it was mixed"
        value={draft.chemistry}
        options={[
          { value: "glaze", text: "As the glaze" },
          { value: "recipe", text: "From its own recipe" },
          ...(other ? [{ value: "other", text: lot?.analysis ? "As its analysis" : "As its formula" }] : []),
        ]}
        onValue={(v) => set({ chemistry: v as Chemistry })}
      />
      {draft.chemistry === "recipe" && <RecipeEditor studio={studio} recipe={draft.recipe} onRecipe={(recipe) => set({ recipe: recipe as Draft<Recipe> })} />}
    </Form>
  );
}
