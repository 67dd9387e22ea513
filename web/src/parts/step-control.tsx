/**
 * One control of a step: a slider with its number and unit, a switch or a choice; and what was proposed, to go back to.
 */
import { createEffect, createSignal, createUniqueId, For, Show, type JSX } from 'solid-js';
import type { ControlValue, NumberControl, StepControl } from '../../../src/join/step-controls.js';

interface Props {
  control: StepControl;
  value: ControlValue;
  proposed: ControlValue | undefined;
  /** The switch that is off, for want of which turning it would show nothing. */
  rests?: string | null;
  onTurn: (value: number) => void;
  onRest: () => void;
  onPut: (value: ControlValue) => void;
}

/** A number as it stands beside its unit: no more places than the control has. */
const told = (c: NumberControl, v: number): string =>
  String(Number(v.toFixed(c.step >= 1 ? 0 : c.step >= 0.1 ? 1 : 2)));

export function StepKnob(props: Props): JSX.Element {
  const back = () => {
    const p = props.proposed;
    const c = props.control;
    if (p === undefined || p === props.value) return null;
    if (c.kind === 'number')
      return Math.abs((p as number) - (props.value as number)) < c.step / 2
        ? null
        : `${told(c, p as number)} ${c.unit}`;
    return c.kind === 'flag' ? (p === true ? 'on' : 'off') : (c.options.find((o) => o.value === p)?.label ?? String(p));
  };
  return (
    <div class="knob-line">
      <Show when={props.control.kind === 'number'} fallback={<Plain {...props} />}>
        <NumberKnob {...props} control={props.control as NumberControl} value={props.value as number} />
      </Show>
      <Show when={back()}>
        {(b) => (
          <button class="back" onClick={() => props.onPut(props.proposed!)}>
            back to {b()}, as proposed
          </button>
        )}
      </Show>
    </div>
  );
}

function NumberKnob(props: Omit<Props, 'control' | 'value'> & { control: NumberControl; value: number }): JSX.Element {
  const c = props.control;
  const id = createUniqueId();
  const [wrong, setWrong] = createSignal(false);
  const rests = () => (props.rests == null ? null : `rests: ${props.rests} is off`);
  let field!: HTMLInputElement;
  createEffect(() => {
    const v = told(c, props.value);
    if (document.activeElement !== field) {
      field.value = v;
      setWrong(false);
    }
  });
  const typed = (): void => {
    const v = Number(field.value.trim().replace(',', '.'));
    const bad = field.value.trim() === '' || !Number.isFinite(v) || v < c.min || v > c.max;
    setWrong(bad);
    if (!bad && told(c, v) !== told(c, props.value)) props.onPut(v);
  };
  return (
    <>
      <div class="knob">
        <label for={id}>{c.label}</label>
        <input
          id={id}
          type="range"
          min={c.min}
          max={c.max}
          step={c.step}
          disabled={rests() !== null}
          title={rests() ?? undefined}
          value={props.value}
          onInput={(e) => {
            props.onTurn(Number(e.currentTarget.value));
            field.value = told(c, Number(e.currentTarget.value));
            setWrong(false);
          }}
          onBlur={props.onRest}
        />
        <span class="with-unit">
          <input
            ref={field}
            type="text"
            inputmode="decimal"
            disabled={rests() !== null}
            aria-label={`${c.label}, ${c.unit}`}
            aria-invalid={wrong()}
            onChange={typed}
            onKeyDown={(e) => {
              if (e.key === 'Escape') {
                field.value = told(c, props.value);
                setWrong(false);
              }
            }}
          />{' '}
          {c.unit}
        </span>
      </div>
      <Show when={rests()}>{(why) => <p class="pencil-note knob-rests">{why()}</p>}</Show>
      <Show when={wrong()}>
        <p class="refused" role="alert">
          {c.label} is a number from {c.min} to {c.max}; nothing was changed.
        </p>
      </Show>
    </>
  );
}

function Plain(props: Props): JSX.Element {
  const c = props.control;
  return c.kind === 'flag' ? (
    <label class="knob">
      <span>{c.label}</span>
      <input type="checkbox" checked={props.value === true} onChange={(e) => props.onPut(e.currentTarget.checked)} />
    </label>
  ) : (
    <label class="knob">
      <span>{c.label}</span>
      <select value={String(props.value)} onChange={(e) => props.onPut(e.currentTarget.value)}>
        <For each={c.kind === 'choice' ? c.options : []}>{(o) => <option value={o.value}>{o.label}</option>}</For>
      </select>
    </label>
  );
}
