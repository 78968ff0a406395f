// Oxides: their order, their formulas with subscripts, and fields for their amounts.
import { NumberField } from "./fields";

// In the order of a unity formula: fluxes, then alumina and boron, then silica and its kin, then the rest.
export const oxides = ["Li2O", "Na2O", "K2O", "MgO", "CaO", "SrO", "BaO", "ZnO", "PbO", "Al2O3", "B2O3", "SiO2", "TiO2", "ZrO2", "SnO2", "P2O5", "Fe2O3", "FeO", "MnO", "CoO", "CuO", "NiO", "Cr2O3"];

export function OxideName({ formula }: { formula: string }) {
  return (
    <>
      {formula.split(/(\d+)/).map((part, i) => (/^\d+$/.test(part) ? <sub key={i}>{part}</sub> : part))}
    </>
  );
}

export function OxideEditor({ values, onValues, unit: shown, max }: { values: { [oxide: string]: number }; onValues(values: { [oxide: string]: number }): void; unit: string; max: number }) {
  return (
    <div class="pair">
      {oxides.map((oxide) => (
        <NumberField
          key={oxide}
          label={oxide}
          unit={shown}
          value={values[oxide]}
          min={0}
          max={max}
          onValue={(v) => {
            const { [oxide]: _, ...rest } = values;
            onValues(v ? { ...rest, [oxide]: v } : rest);
          }}
        />
      ))}
    </div>
  );
}
