/** A picture on the grey mat; a click opens the large viewer on it. */
import { createEffect, createSignal, on, Show, type JSX } from 'solid-js';
import { book, frameUrl } from '../api.js';
import { openViewer, type ViewerSource } from '../viewer/state.js';

export function Picture(props: {
  source: ViewerSource;
  frame: number;
  width: number;
  alt: string;
  ratio?: number;
  caption?: JSX.Element;
}): JSX.Element {
  const [missing, setMissing] = createSignal(false);
  const [there, setThere] = createSignal(false);
  const address = () => frameUrl(props.source.what, props.source.id, props.frame, props.width, props.source.version);
  // Another picture may be there where the last one was not; so may this one once its film or take is found again.
  const lost = () => {
    const m = book()?.missing;
    return m === undefined ? '' : [...m.films, ...m.takes].join(' ');
  };
  createEffect(on([address, lost], () => setMissing(false), { defer: true }));
  return (
    <figure class="mat">
      <button
        class="picture"
        onClick={() => openViewer({ ...props.source, start: props.frame })}
        aria-label={`Open ${props.alt} large`}
        style={{ 'aspect-ratio': String(props.ratio ?? 16 / 9) }}
      >
        <Show when={!missing()} fallback={<span class="no-picture">no picture</span>}>
          <Show when={!there()}>
            <span class="no-picture coming">a moment …</span>
          </Show>
          <img
            src={address()}
            alt={props.alt}
            loading="lazy"
            decoding="async"
            onLoad={() => setThere(true)}
            onError={() => setMissing(true)}
          />
        </Show>
      </button>
      <Show when={props.caption}>
        <figcaption>{props.caption}</figcaption>
      </Show>
    </figure>
  );
}
