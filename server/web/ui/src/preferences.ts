// What this browser remembers about its reader. Nothing here leaves it.
import { effect, signal } from "@preact/signals";
import type { LengthUnit } from "./units";

export type Theme = "system" | "light" | "dark";

function remembered<T extends string>(key: string, allowed: readonly T[] | null, fallback: T) {
  const stored = localStorage.getItem(key) as T | null;
  const value = signal<T>(stored !== null && (allowed === null || allowed.includes(stored)) ? stored : fallback);
  effect(() => localStorage.setItem(key, value.value));
  return value;
}

export const unit = remembered<LengthUnit>("catchline.unit", ["mm", "in"], "mm");
export const theme = remembered<Theme>("catchline.theme", ["system", "light", "dark"], "system");
export const lastStudio = remembered<string>("catchline.studio", null, "");
export const tester = remembered<string>("catchline.tester", null, "");

effect(() => {
  document.documentElement.dataset.theme = theme.value;
});
