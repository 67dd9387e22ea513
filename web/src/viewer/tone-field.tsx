/** What a known surface is, from those that are common, and whether it has colour and how it lies. */
import { For, type JSX } from 'solid-js';
import { COMMON_TONES } from '../../../src/plate/marks/common-tones.js';
import type { Mark } from '../../../src/plate/marks/marks.js';

type Tone = Extract<Mark, { kind: 'tone' }>;

/** The common surface that a mark is, or null for one with numbers of its own. */
const common = (m: Tone): string | null =>
  COMMON_TONES.find((t) => t.reflects === m.reflects && t.sdStops === m.sdStops && t.grey === (m.grey === true))
    ?.name ?? null;

export function ToneField(props: {
  mark: Tone;
  onChange: (title: string, change: (m: Mark) => Mark) => void;
}): JSX.Element {
  const tick = (key: 'grey' | 'upright', title: string, label: string): JSX.Element => (
    <label title={title}>
      <input
        type="checkbox"
        checked={props.mark[key] === true}
        onChange={(e) => {
          const on = e.currentTarget.checked;
          props.onChange(`tone: ${label}`, (now) => {
            const { [key]: _old, ...rest } = now as Tone;
            return on ? { ...rest, [key]: on } : rest;
          });
        }}
      />{' '}
      {label}
    </label>
  );
  return (
    <>
      <label>
        it is{' '}
        <select
          value={common(props.mark) ?? ''}
          onChange={(e) => {
            const tone = COMMON_TONES.find((t) => t.name === e.currentTarget.value);
            if (tone !== undefined)
              props.onChange('tone: what it is', (now) => {
                const { grey: _grey, ...rest } = now as Tone;
                return {
                  ...rest,
                  reflects: tone.reflects,
                  sdStops: tone.sdStops,
                  ...(tone.grey ? { grey: true } : {}),
                };
              });
          }}
        >
          <option value="" selected={common(props.mark) === null}>
            not said, or something else: its numbers
          </option>
          <For each={COMMON_TONES}>
            {(t) => (
              <option value={t.name} selected={t.name === common(props.mark)}>
                {t.name}
              </option>
            )}
          </For>
        </select>
      </label>
      {tick('grey', 'it tells the colour of the light, too', 'has no colour of its own')}
      {tick('upright', 'the key meets it otherwise than what lies flat', 'stands upright, facing the camera')}
    </>
  );
}
