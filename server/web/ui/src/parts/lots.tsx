// The lots of a glaze: which bucket it was, and its own recipe where it was mixed from other materials.
import { useState } from "preact/hooks";
import { answer, api, newRequestId } from "../api/client";
import type { Glaze, Lot, Recipe } from "../api/types";
import { lots } from "../lists";
import { idOf } from "../names";
import { address } from "../route";
import { useSaving } from "../saving";
import { OneOf, TextField } from "./fields";
import { blankRecipe, RecipeEditor, wholeRecipe } from "./recipe";
import { Failed, Panel, When } from "./states";

export function LotList({ studio, glaze }: { studio: string; glaze: Glaze }) {
  const id = idOf(glaze.name);
  const resource = lots(`${studio}/${id}`);
  const [made, setMade] = useState(0);
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
                  <details key={l.etag}>
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
        key={made}
        studio={studio}
        glaze={glaze}
        onStored={async () => {
          await resource.reload();
          setMade(made + 1);
        }}
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

function LotForm({ studio, glaze, lot, onStored }: { studio: string; glaze: Glaze; lot?: Lot; onStored(): Promise<void> }) {
  const [name, setName] = useState(lot?.displayName ?? "");
  const [notes, setNotes] = useState(lot?.notes ?? "");
  const [recipe, setRecipe] = useState<Recipe>(lot?.recipe ?? glaze.recipe ?? blankRecipe);
  const other = lot?.analysis !== undefined || lot?.seger !== undefined;
  const [chemistry, setChemistry] = useState<Chemistry>(lot?.recipe ? "recipe" : other ? "other" : "glaze");
  const saving = useSaving();
  const own = wholeRecipe(recipe);
  const at = { "lot.name": studio, "lot.name_1": idOf(glaze.name), "lot.name_2": idOf(lot?.name) };

  const save = () =>
    saving.run(
      async () => {
        const body: Lot = { displayName: name.trim(), notes: notes.trim() };
        if (chemistry === "recipe") body.recipe = own;
        const query = { requestId: newRequestId() };
        if (lot) {
          const mask = ["display_name", "notes"];
          if (chemistry === "recipe") mask.push("recipe");
          if (chemistry === "glaze") mask.push(lot.analysis ? "analysis" : lot.seger ? "seger" : "recipe");
          await answer(
            api.PATCH("/v1/studios/{lot.name}/glazes/{lot.name_1}/lots/{lot.name_2}", {
              params: { path: at, query: { ...query, updateMask: mask.join(",") } },
              body: { ...body, etag: lot.etag },
            }),
          );
        } else {
          await answer(
            api.POST("/v1/studios/{parent}/glazes/{parent_1}/lots", { params: { path: { parent: studio, parent_1: idOf(glaze.name) }, query }, body }),
          );
        }
        await onStored();
      },
      lot ? "Saved." : "Lot added.",
    );
  const remove = () =>
    saving.run(async () => {
      if (!lot || !confirm(`Delete ${lot.displayName}? Tiles keep the composition of their day.`)) return;
      await answer(
        api.DELETE("/v1/studios/{name}/glazes/{name_1}/lots/{name_2}", {
          params: {
            path: { name: studio, name_1: idOf(glaze.name), name_2: idOf(lot.name) },
            query: { requestId: newRequestId(), ...(lot.etag && { etag: lot.etag }) },
          },
        }),
      );
      await onStored();
    });

  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void save();
      }}
    >
      <TextField label={lot ? "What is written on the bucket" : "New lot"} hint={lot ? undefined : "What is written on the bucket."} value={name} maxLength={120} onValue={setName} />
      <TextField label={lot ? "Notes on this lot" : "Notes on it"} value={notes} maxLength={4000} onValue={setNotes} />
      <OneOf
        label="How it was mixed"
        value={chemistry}
        options={[
          { value: "glaze", text: "As the glaze" },
          { value: "recipe", text: "From its own recipe" },
          ...(other ? [{ value: "other", text: lot?.analysis ? "As its analysis" : "As its formula" }] : []),
        ]}
        onValue={(v) => setChemistry(v as Chemistry)}
      />
      {chemistry === "recipe" && <RecipeEditor studio={studio} recipe={recipe} onRecipe={setRecipe} />}
      <p class="row">
        <button type="submit" disabled={!name.trim() || saving.busy || (chemistry === "recipe" && own.ingredients?.length === 0)}>
          {lot ? "Save the lot" : "Add the lot"}
        </button>
        {lot && (
          <button type="button" onClick={remove}>
            Delete the lot
          </button>
        )}
      </p>
      {saving.problem && <Failed problem={saving.problem} />}
    </form>
  );
}
