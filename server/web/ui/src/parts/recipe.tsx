// A recipe: materials and their parts.
import type { Recipe } from "../api/types";
import { materials, ready } from "../lists";
import { NumberField, TextField } from "./fields";

export const blankRecipe: Recipe = { ingredients: [{ material: "", amount: 0 }] };

// Without the rows that are still empty.
export function wholeRecipe(recipe: Recipe): Recipe {
  return { ingredients: (recipe.ingredients ?? []).filter((i) => (i.material ?? "").trim() !== "" && (i.amount ?? 0) > 0) };
}

export function RecipeEditor({ studio, recipe, onRecipe }: { studio: string; recipe: Recipe; onRecipe(recipe: Recipe): void }) {
  const ingredients = recipe.ingredients ?? [];
  const known = ready(materials(studio)).map((m) => m.displayName ?? "");
  const set = (next: typeof ingredients) => onRecipe({ ingredients: next });
  const total = ingredients.reduce((sum, i) => sum + (i.amount ?? 0), 0);
  return (
    <div class="ingredients">
      {ingredients.map((ing, i) => (
        <div class="ingredient" key={i}>
          <TextField
            label={`Material ${i + 1}`}
            value={ing.material ?? ""}
            suggestions={known}
            onValue={(material) => set(ingredients.map((old, k) => (k === i ? { ...old, material } : old)))}
          />
          <NumberField label="Parts" value={ing.amount || undefined} min={0} max={1e6} onValue={(amount) => set(ingredients.map((old, k) => (k === i ? { ...old, amount: amount ?? 0 } : old)))} />
          <button type="button" class="plain" aria-label={`Take material ${i + 1} away`} onClick={() => set(ingredients.filter((_, k) => k !== i))}>
            ✕
          </button>
        </div>
      ))}
      <button type="button" class="add" disabled={ingredients.length >= 64} onClick={() => set([...ingredients, { material: "", amount: 0 }])}>
        + Material
      </button>
      <p class="hint">
        {Number(total.toFixed(3))} parts in all{Math.abs(total - 100) > 1e-6 && total > 0 ? "; they are scaled to 100" : ""}.
      </p>
    </div>
  );
}
