// Fields of forms: a visible label, a hint, a fault in words, targets that a dusty thumb can hit.
import type { ComponentChildren } from "preact";
import { useEffect, useId, useRef, useState } from "preact/hooks";
import { unit as lengthUnit } from "../preferences";
import { fieldText, fromShown, readNumber, toShown } from "../units";

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
  const common = {
    id,
    value: props.value,
    required: props.required,
    maxLength: props.maxLength,
    placeholder: props.placeholder,
    "aria-invalid": props.fault ? true : undefined,
    "aria-describedby": props.hint || props.fault ? id + "-hint" : undefined,
  };
  return (
    <Field {...props} id={id}>
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
  value: number | undefined;
  // Called with numbers inside the limits, and with undefined when the field is emptied.
  onValue(value: number | undefined): void;
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
  const isLength = props.unit === "length";
  const shownUnit = isLength ? lengthUnit.value : props.unit;
  const show = (v: number | undefined) =>
    v === undefined ? "" : fieldText(isLength ? toShown(v, lengthUnit.value) : v, isLength && lengthUnit.value === "in" ? 3 : isLength ? 2 : 4);
  const keep = (shown: number) => (isLength ? fromShown(shown, lengthUnit.value) : shown);
  const shownText = (typed: number | undefined) => show(typed === undefined ? undefined : keep(typed));
  const [text, setText] = useState(show(props.value));

  // What this field said and has not yet been given back, and what stood in it when the hand came: nonsense goes back to that.
  const echoes = useRef<string[]>([]);
  const before = useRef(props.value);
  const say = (value: number | undefined) => {
    if (value === props.value && echoes.current.length === 0) return;
    echoes.current.push(show(value));
    props.onValue(value);
  };

  // Follows changes from outside. Its own values come back too, and late where the hand is quick: those are no news.
  useEffect(() => {
    const echo = echoes.current.indexOf(show(props.value));
    if (echo >= 0) echoes.current.splice(0, echo + 1);
    else if (show(props.value) !== shownText(readNumber(text))) setText(show(props.value));
  }, [props.value]);
  useEffect(() => setText(show(props.value)), [shownUnit]);

  const typed = readNumber(text);
  const kept = typed === undefined ? undefined : keep(typed);
  const { min = -Infinity, max = Infinity } = props;
  let fault = props.fault;
  if (typed !== undefined && Number.isNaN(typed)) fault = "Not a number.";
  else if (kept !== undefined && kept > max) fault = `At most ${show(max)}${shownUnit ? " " + shownUnit : ""}.`;
  else if (kept !== undefined && kept < min) fault = `At least ${show(min)}${shownUnit ? " " + shownUnit : ""}.`;
  else if (kept === undefined && props.required) fault = "A number is needed here.";

  const input = (next: string) => {
    setText(next);
    const n = readNumber(next);
    if (n === undefined) say(undefined);
    else if (!Number.isNaN(n) && keep(n) >= min && keep(n) <= max) say(keep(n));
    else say(before.current);
  };
  const press = (by: number) => {
    const from = kept === undefined || Number.isNaN(kept) ? (props.value ?? 0) : kept;
    const next = Math.min(max, Math.max(min, Math.round((from + by) * 1000) / 1000));
    setText(show(next));
    say(next);
  };

  return (
    <Field {...props} fault={fault} id={id}>
      <span class="number">
        {props.step && (
          <button type="button" class="step" aria-label={`Less: ${props.label}`} onClick={() => press(-props.step!)}>
            −
          </button>
        )}
        <input
          id={id}
          type="text"
          inputMode="decimal"
          autocomplete="off"
          value={text}
          aria-invalid={fault ? true : undefined}
          aria-describedby={props.hint || fault ? id + "-hint" : undefined}
          onFocus={() => (before.current = props.value)}
          onBlur={() => (echoes.current = [])}
          onBeforeInput={({ currentTarget: { selectionStart, selectionEnd, value } }) => {
            // Selected as a whole, it is replaced by another number.
            if (!fault && selectionStart === 0 && selectionEnd === value.length) before.current = props.value;
          }}
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

export interface Option {
  value: string;
  text: string;
}

export function Choice(
  props: FieldProps & { value: string; onValue(value: string): void; options: Option[]; empty?: string; required?: boolean },
) {
  const id = useId();
  const missing = props.value !== "" && !props.options.some((o) => o.value === props.value);
  return (
    <Field {...props} id={id}>
      <select
        id={id}
        value={props.value}
        aria-invalid={props.fault ? true : undefined}
        aria-describedby={props.hint || props.fault ? id + "-hint" : undefined}
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

export function Tick(props: { label: string; value: boolean; onValue(value: boolean): void }) {
  return (
    <label class="tick">
      <input type="checkbox" checked={props.value} onChange={(e) => props.onValue(e.currentTarget.checked)} />
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
