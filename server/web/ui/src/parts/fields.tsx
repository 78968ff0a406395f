// Fields of forms: a visible label, a hint, a fault in words, targets that a dusty thumb can hit.
import type { ComponentChildren } from "preact";
import { useId, useState } from "preact/hooks";
import { isUnread, needed, readEntry, type Entry } from "../entries";
import { unit as lengthUnit } from "../preferences";
import { fieldText, readLength, readNumber, toShown } from "../units";
import { useFault } from "./form";

interface FieldProps {
  label: string;
  hint?: string;
  fault?: string;
}

function Field({ label, hint, fault, id, children }: FieldProps & { id: string; children: ComponentChildren }) {
  return (
    <div class={fault ? "field faulty" : "field"}>
      <label for={id}>{label}</label>
      {children}
      {hint && !fault && <p class="hint" id={id + "-hint"}>{hint}</p>}
      {fault && <p class="fault" id={id + "-hint"}>{fault}</p>}
    </div>
  );
}

// The fault that a field shows. The form around it knows of every fault; that an empty field is needed is shown only when the field
// was left or the form was to be stored.
function useShownFault(id: string, label: string, fault: string | undefined, missing: string | undefined) {
  const [left, setLeft] = useState(false);
  const tried = useFault(id, label, fault ?? missing);
  return { shown: fault ?? (left || tried ? missing : undefined), leave: () => setLeft(true) };
}

export function TextField(
  props: FieldProps & {
    value: string;
    onValue(value: string): void;
    suggestions?: string[];
    lines?: number;
    type?: "text" | "password" | "date" | "search";
    maxLength?: number;
    required?: boolean;
    placeholder?: string;
  },
) {
  const id = useId();
  const { shown, leave } = useShownFault(id, props.label, props.fault, props.required && props.value.trim() === "" ? "Please fill this in." : undefined);
  const common = {
    id,
    value: props.value,
    "aria-required": props.required,
    maxLength: props.maxLength,
    placeholder: props.placeholder,
    "aria-invalid": shown ? true : undefined,
    "aria-describedby": props.hint || shown ? id + "-hint" : undefined,
    onBlur: leave,
  };
  return (
    <Field {...props} fault={shown} id={id}>
      {props.lines ? (
        <textarea {...common} rows={props.lines} onInput={(e) => props.onValue(e.currentTarget.value)} />
      ) : (
        <input
          {...common}
          type={(props.type ?? "text") as "text"}
          autocomplete="off"
          list={props.suggestions ? id + "-list" : undefined}
          onInput={(e) => props.onValue(e.currentTarget.value)}
        />
      )}
      {props.suggestions && (
        <datalist id={id + "-list"}>
          {props.suggestions.map((s) => (
            <option key={s} value={s} />
          ))}
        </datalist>
      )}
    </Field>
  );
}

interface NumberFieldProps extends FieldProps {
  // Undefined: empty.
  value: Entry;
  onValue(value: Entry): void;
  // "length" is kept in millimetres and shown in the reader's unit; any other text is shown as it is.
  unit?: "length" | string;
  min?: number;
  max?: number;
  required?: boolean;
  // Size of one press of the steppers beside the field, in the unit of `value`; none without it.
  step?: number;
}

export function NumberField(props: NumberFieldProps) {
  const id = useId();
  const { value } = props;
  const u = lengthUnit.value;
  const isLength = props.unit === "length";
  const shownUnit = isLength ? u : props.unit;
  const show = (v: number) => fieldText(isLength ? toShown(v, u) : v, !isLength ? 4 : u === "in" ? 3 : 2);
  const limits = {
    min: props.min,
    max: props.max,
    required: props.required,
    show: (v: number) => show(v) + (shownUnit ? " " + shownUnit : ""),
    read: (text: string) => (isLength ? readLength(text, u) : readNumber(text)),
  };
  // What was typed stays as it was typed while it still means the value: "1." and "1 3/8" are not written anew under the hand.
  const [typed, setTyped] = useState("");
  const meant = readEntry(typed, limits);
  const textOf = (v: number | undefined) => (v === undefined ? "" : show(v));
  const text = isUnread(value) ? value.unread : !isUnread(meant) && textOf(meant) === textOf(value) ? typed : textOf(value);

  const missing = props.required && (value === undefined || (isUnread(value) && value.unread.trim() === "")) ? needed : undefined;
  const { shown, leave } = useShownFault(id, props.label, props.fault ?? (isUnread(value) && !missing ? value.fault : undefined), missing);
  const input = (next: string) => {
    setTyped(next);
    props.onValue(readEntry(next, limits));
  };
  const press = (by: number) => {
    const { min = -Infinity, max = Infinity } = props;
    const from = isUnread(value) || value === undefined ? 0 : value;
    const next = Math.min(max, Math.max(min, Math.round((from + by) * 1000) / 1000));
    setTyped("");
    props.onValue(next);
  };

  return (
    <Field {...props} fault={shown} id={id}>
      <span class="number">
        {props.step && (
          <button type="button" class="step" aria-label={`Less: ${props.label}`} onClick={() => press(-props.step!)}>
            −
          </button>
        )}
        <input
          id={id}
          type="text"
          inputMode={isLength && u === "in" ? "text" : "decimal"}
          autocomplete="off"
          value={text}
          aria-required={props.required}
          aria-invalid={shown ? true : undefined}
          aria-describedby={props.hint || shown ? id + "-hint" : undefined}
          onBlur={leave}
          onInput={(e) => input(e.currentTarget.value)}
          onKeyDown={(e) => {
            if (!props.step || (e.key !== "ArrowUp" && e.key !== "ArrowDown")) return;
            e.preventDefault();
            press(e.key === "ArrowUp" ? props.step : -props.step);
          }}
        />
        {shownUnit && <span class="unit">{shownUnit}</span>}
        {props.step && (
          <button type="button" class="step" aria-label={`More: ${props.label}`} onClick={() => press(props.step!)}>
            +
          </button>
        )}
      </span>
    </Field>
  );
}

// Some numbers in one field, such as 80, 100, 120. A list with a number that cannot be read is kept as it was typed, as its only member.
export function NumbersField(props: FieldProps & { values: Exclude<Entry, undefined>[]; onValues(values: Exclude<Entry, undefined>[]): void; min: number; max: number; unit: string }) {
  const id = useId();
  const [typed, setTyped] = useState("");
  const read = (text: string) => {
    const all = text.split(/[\s,;]+/).filter(Boolean).map((part) => readEntry(part, { ...props, show: (v) => `${v} ${props.unit}`, read: readNumber })!);
    const bad = all.find(isUnread);
    return bad ? [{ unread: text, fault: `${bad.unread}: ${bad.fault}` }] : all;
  };
  const bad = props.values.find(isUnread);
  const text = bad ? bad.unread : JSON.stringify(read(typed)) === JSON.stringify(props.values) ? typed : props.values.join(", ");
  const { shown } = useShownFault(id, props.label, bad?.fault, undefined);
  return (
    <Field {...props} fault={shown} id={id}>
      <input
        id={id}
        type="text"
        autocomplete="off"
        value={text}
        aria-invalid={shown ? true : undefined}
        aria-describedby={props.hint || shown ? id + "-hint" : undefined}
        onInput={(e) => {
          setTyped(e.currentTarget.value);
          props.onValues(read(e.currentTarget.value));
        }}
      />
    </Field>
  );
}

export interface Option {
  value: string;
  text: string;
}

export function Choice(
  props: FieldProps & { value: string; onValue(value: string): void; options: Option[]; empty?: string; required?: boolean },
) {
  const id = useId();
  const missing = props.value !== "" && !props.options.some((o) => o.value === props.value);
  const { shown, leave } = useShownFault(id, props.label, props.fault, props.required && props.value === "" ? "Please choose." : undefined);
  return (
    <Field {...props} fault={shown} id={id}>
      <select
        id={id}
        value={props.value}
        aria-required={props.required}
        aria-invalid={shown ? true : undefined}
        aria-describedby={props.hint || shown ? id + "-hint" : undefined}
        onBlur={leave}
        onChange={(e) => props.onValue(e.currentTarget.value)}
      >
        {(props.empty !== undefined || props.value === "") && <option value="">{props.empty ?? "Choose…"}</option>}
        {missing && <option value={props.value}>{props.value} (not here)</option>}
        {props.options.map((o) => (
          <option key={o.value} value={o.value}>
            {o.text}
          </option>
        ))}
      </select>
    </Field>
  );
}

// A few choices of which one holds, all in sight.
export function OneOf(props: { label: string; value: string; onValue(value: string): void; options: Option[]; quiet?: boolean }) {
  const id = useId();
  return (
    <fieldset class="oneof">
      <legend class={props.quiet ? "unseen" : ""}>{props.label}</legend>
      <div>
        {props.options.map((o) => (
          <label key={o.value} class={o.value === props.value ? "on" : ""}>
            <input type="radio" name={id} value={o.value} checked={o.value === props.value} onChange={() => props.onValue(o.value)} />
            <span>{o.text}</span>
          </label>
        ))}
      </div>
    </fieldset>
  );
}

export function Tick(props: { label: string; name?: string; value: boolean; onValue(value: boolean): void }) {
  return (
    <label class="tick">
      <input type="checkbox" aria-label={props.name} checked={props.value} onChange={(e) => props.onValue(e.currentTarget.checked)} />
      <span>{props.label}</span>
    </label>
  );
}

// Any number of a list, with a filter where the list is long.
export function AnyOf(props: { label: string; values: string[]; onValues(values: string[]): void; options: Option[]; hint?: string }) {
  const [filter, setFilter] = useState("");
  const wanted = filter.trim().toLowerCase();
  const shown = props.options.filter((o) => o.text.toLowerCase().includes(wanted));
  const chosen = new Set(props.values);
  const set = (values: Iterable<string>) => {
    const next = new Set(values);
    props.onValues(props.options.map((o) => o.value).filter((v) => next.has(v)));
  };
  return (
    <fieldset class="anyof">
      <legend>
        {props.label} <span class="count">{chosen.size} of {props.options.length}</span>
      </legend>
      {props.hint && <p class="hint">{props.hint}</p>}
      {props.options.length > 8 && (
        <input type="search" aria-label={`Find in ${props.label}`} placeholder="Find…" value={filter} onInput={(e) => setFilter(e.currentTarget.value)} />
      )}
      <div class="choices" role="group" aria-label={props.label} tabIndex={props.options.length > 8 ? 0 : undefined}>
        {shown.map((o) => (
          <Tick
            key={o.value}
            label={o.text}
            value={chosen.has(o.value)}
            onValue={(on) => set(on ? [...chosen, o.value] : [...chosen].filter((v) => v !== o.value))}
          />
        ))}
        {shown.length === 0 && <p class="hint">Nothing here is called that.</p>}
      </div>
      <p class="row">
        <button type="button" class="plain" onClick={() => set([...chosen, ...shown.map((o) => o.value)])}>
          All{wanted ? " found" : ""}
        </button>
        <button type="button" class="plain" onClick={() => set([])}>
          None
        </button>
      </p>
    </fieldset>
  );
}

export function FileButton(props: { label: string; accept: string; onFile(file: File): void }) {
  const id = useId();
  return (
    <span class="file">
      <input
        id={id}
        type="file"
        accept={props.accept}
        onChange={(e) => {
          const file = e.currentTarget.files?.[0];
          if (file) props.onFile(file);
          e.currentTarget.value = "";
        }}
      />
      <label for={id}>{props.label}</label>
    </span>
  );
}
