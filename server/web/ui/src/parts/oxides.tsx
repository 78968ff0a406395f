// Oxides: their order, their formulas with subscripts, and fields for their amounts.
import { whole, type Draft } from "../entries";
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

interface Amounts {
  [oxide: string]: number;
}

export function OxideEditor({ values, onValues, unit: shown, max }: { values: Draft<Amounts>; onValues(values: Draft<Amounts>): void; unit: string; max: number }) {
  const known = whole<Amounts>(values);
  return (
    <>
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
      {shown === "%" && known && <p class="hint">Adds up to {Number(total(known).toFixed(2))} %.</p>}
    </>
  );
}

export function total(amounts: Amounts): number {
  return Object.values(amounts).reduce((sum, v) => sum + v, 0);
}

// An analysis in percent is whole from 95 to 105: laboratories round, and leave out traces (common practice, no source).
export function addsUp(percent: number): boolean {
  return percent >= 95 && percent <= 105;
}
