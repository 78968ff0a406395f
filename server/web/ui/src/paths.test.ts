import { expect, it } from "vitest";
import { fieldWords, withoutPaths } from "./paths";

it("calls a field what people call it", () => {
  expect(fieldWords("glaze.recipe.ingredients[4].material")).toBe("material in line 5");
  expect(fieldWords("tile.layering.layers[0].coats")).toBe("coats in layer 1");
  expect(fieldWords("firing.plan.cone.cone")).toBe("cone");
  expect(fieldWords("firing.plan.segments.segments[2].target_c")).toBe("target in segment 3");
  expect(fieldWords("material.oxides_percent[SiO2]")).toBe("SiO2 in the analysis");
  expect(fieldWords("glaze.display_name")).toBe("name");
});

it("leaves no path in a sentence", () => {
  expect(withoutPaths('glaze.recipe.ingredients[4].material is "ashes"; allowed: a material of the studio', ["glaze.recipe.ingredients[4].material"])).toBe(
    'material in line 5 is "ashes"; allowed: a material of the studio',
  );
});
