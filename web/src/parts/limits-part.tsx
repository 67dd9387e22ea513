/**
 * Limits of the verdict and the performer's attention: each number a field, the program's own beside what was changed.
 */
import { createSignal, Index, Show, type JSX } from 'solid-js';
import type { Settings } from '../../../src/book/settings.js';
import { changeSetting } from '../api.js';
import { followBook } from './typed-field.js';

/** One number. One that the book refused shows the book's number again. */
function Field(props: { label: string; value: number; onNumber: (v: number) => Promise<void> }): JSX.Element {
  const [answered, setAnswered] = createSignal(0);
  const put = (text: string): void =>
    void props.onNumber(text.trim() === '' ? NaN : Number(text)).then(() => setAnswered(answered() + 1));
  return (
    <input
      type="number"
      step="any"
      aria-label={props.label}
      ref={(el) => followBook(el, () => props.value, answered)}
      onChange={(e) => put(e.currentTarget.value)}
    />
  );
}

/** A share as the verdict tells it: in hundredths. */
function inHundredths(t: Settings['tolerances'][number]): string {
  if (!/^share of/.test(t.unit)) return '';
  const told = (v: number): string => `${Number((100 * v).toFixed(2))}\u00a0%`;
  return ` (${told(t.fits)}${t.sense === 'one' ? '' : `, ${told(t.mendable)}`})`;
}

/** The two numbers of one tolerance, each to be changed, and the way back to the program's own. */
function ToleranceRow(props: {
  tolerance: Settings['tolerances'][number];
  put: (numbers: () => readonly number[] | null) => Promise<void>;
}): JSX.Element {
  return (
    <tr data-changed={props.tolerance.changed}>
      <th scope="row">{props.tolerance.title}</th>
      <td>
        <Field
          label={`${props.tolerance.title}: fits`}
          value={props.tolerance.fits}
          onNumber={(v) => props.put(() => (props.tolerance.sense === 'one' ? [v] : [v, props.tolerance.mendable]))}
        />
      </td>
      <td>
        <Show when={props.tolerance.sense !== 'one'} fallback="–">
          <Field
            label={`${props.tolerance.title}: mendable`}
            value={props.tolerance.mendable}
            onNumber={(v) => props.put(() => [props.tolerance.fits, v])}
          />
        </Show>
      </td>
      <td class="pencil-note">
        {props.tolerance.unit}
        {inHundredths(props.tolerance)}
      </td>
      <td>
        <Show when={props.tolerance.changed} fallback={<span class="pencil-note">unchanged</span>}>
          <button onClick={() => void props.put(() => null)}>
            back to{' '}
            {props.tolerance.sense === 'one'
              ? props.tolerance.defaultFits
              : `${props.tolerance.defaultFits} and ${props.tolerance.defaultMendable}`}
          </button>
        </Show>
      </td>
    </tr>
  );
}

export function LimitsPart(props: { settings: Settings }): JSX.Element {
  const put = async (name: string, numbers: () => readonly number[] | null): Promise<void> => {
    if (numbers()?.every((v) => Number.isFinite(v)) !== false) await changeSetting(name, numbers);
  };
  return (
    <section class="limits">
      <h2>Limits</h2>
      <p class="how">
        How far a take may stray and still fit, how far it can be mended; beyond that it is shot again.{' '}
        {props.settings.note}
      </p>
      <div class="wide-table">
        <table>
          <thead>
            <tr>
              <th scope="col">matter</th>
              <th scope="col">fits</th>
              <th scope="col">mendable</th>
              <th scope="col">in</th>
              <th scope="col">the program’s own</th>
            </tr>
          </thead>
          <tbody>
            <Index each={props.settings.tolerances}>
              {(t) => <ToleranceRow tolerance={t()} put={(numbers) => put(t().name, numbers)} />}
            </Index>
          </tbody>
        </table>
      </div>
      <h3>The performer’s attention</h3>
      <p class="how">
        What the shoot day is planned with and the cautions say. No published limit is known; whoever looks after the
        animal shortens all of it at any moment.
      </p>
      <p class="controls">
        <Index each={props.settings.attention}>
          {(a) => (
            <label class="num">
              <Field label={a().unit} value={a().value} onNumber={(v) => put(a().name, () => [v])} />
              {a().unit}
              <Show when={a().changed}>
                <button onClick={() => void put(a().name, () => null)}>back to {a().default}</button>
              </Show>
            </label>
          )}
        </Index>
      </p>
    </section>
  );
}
