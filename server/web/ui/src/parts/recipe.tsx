// A recipe: materials and their parts.
import type { Recipe } from "../api/types";
import { numberIn, type Draft } from "../entries";
import { materials, ready } from "../lists";
import { NumberField, TextField } from "./fields";

// Undefined amounts are fields that are still empty.
export const blankRecipe: Draft<Recipe> = { ingredients: [{ material: "" }] };

type Line = NonNullable<Draft<Recipe>["ingredients"]>[number];

const isEmpty = (line: Line) => (line.material ?? "").trim() === "" && line.amount === undefined;

// Without the lines in which nothing stands.
export function withoutEmptyLines(recipe: Draft<Recipe>): Draft<Recipe> {
  return { ingredients: (recipe.ingredients ?? []).filter((line) => !isEmpty(line)) };
}

// A recipe that the chemistry can be worked out from: every line has a material and parts.
export function isRecipe(recipe: Recipe | undefined): boolean {
  const lines = recipe?.ingredients ?? [];
  return lines.length > 0 && lines.every((l) => (l.material ?? "").trim() !== "" && l.amount !== undefined);
}

export function RecipeEditor({ studio, recipe, onRecipe }: { studio: string; recipe: Draft<Recipe>; onRecipe(recipe: Draft<Recipe>): void }) {
  const lines = recipe.ingredients ?? [];
  const known = ready(materials(studio)).map((m) => m.displayName ?? "");
  const set = (next: Line[]) => onRecipe({ ingredients: next });
  const change = (i: number, next: Partial<Line>) => set(lines.map((old, k) => (k === i ? { ...old, ...next } : old)));
  const total = lines.reduce((sum, line) => sum + (numberIn(line.amount) ?? 0), 0);
  return (
    <div class="ingredients">
      {lines.map((line, i) => {
        const needed = !isEmpty(line) || lines.every(isEmpty);
        return (
          <div class="ingredient" key={i}>
            <TextField label={`Material ${i + 1}`} value={line.material ?? ""} suggestions={known} maxLength={120} required={needed} onValue={(material) => change(i, { material })} />
            <NumberField label="Parts" value={line.amount} min={0.0001} max={1e6} required={needed} onValue={(amount) => change(i, { amount })} />
            <button type="button" class="plain" aria-label={`Take material ${i + 1} away`} onClick={() => set(lines.filter((_, k) => k !== i))}>
              ✕
            </button>
          </div>
        );
      })}
      <button type="button" class="add" disabled={lines.length >= 64} onClick={() => set([...lines, { material: "" }])}>
        + Material
      </button>
      <p class="hint">
        {Number(total.toFixed(3))} parts in all{Math.abs(total - 100) > 1e-6 && total > 0 ? "; they are scaled to 100" : ""}.
      </p>
    </div>
  );
}
