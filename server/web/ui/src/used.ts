// What was used last in a studio, so that the next tile of the same kiln load need not say it again. Kept in this browser.
import { usualWall, type Question } from "./scoring";

type Used = Pick<Question, "body" | "firing" | "plan" | "wall" | "kiln">;

const key = (studio: string) => "catchline.used." + studio;

// Nothing is chosen where nothing was used yet: a firing that nobody chose would be stored with a tile.
export function lastUsed(studio: string): Used {
  const none: Used = { body: "", firing: "", wall: usualWall, kiln: "" };
  try {
    return { ...none, ...(JSON.parse(localStorage.getItem(key(studio)) ?? "{}") as Partial<Used>) };
  } catch {
    return none;
  }
}

export function keepUsed(studio: string, { body, firing, plan, wall, kiln }: Question) {
  localStorage.setItem(key(studio), JSON.stringify({ body, firing, plan, wall, kiln }));
}

// The last question of a studio, as the query of its address.
const questionKey = (studio: string) => "catchline.question." + studio;

export function lastQuestion(studio: string): string {
  return localStorage.getItem(questionKey(studio)) ?? "";
}

export function keepQuestion(studio: string, query: string) {
  localStorage.setItem(questionKey(studio), query);
}
