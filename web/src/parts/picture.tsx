/** A picture on the grey mat; a click opens the large viewer on it. */
import { createSignal, Show, type JSX } from 'solid-js';
import { frameUrl } from '../api.js';
import { openViewer, type ViewerSource } from '../viewer/state.js';

export function Picture(props: { source: ViewerSource; frame: number; width: number; alt: string; ratio?: number; caption?: JSX.Element }): JSX.Element {
  const [missing, setMissing] = createSignal(false);
  return (
    <figure class="mat">
      <button class="picture" onClick={() => openViewer({ ...props.source, start: props.frame })} aria-label={`Open ${props.alt} large`} style={{ 'aspect-ratio': String(props.ratio ?? 16 / 9) }}>
        <Show when={!missing()} fallback={<span class="no-picture">no picture</span>}>
          <img src={frameUrl(props.source.what, props.source.id, props.frame, props.width, props.source.version)} alt={props.alt} loading="lazy" decoding="async" onError={() => setMissing(true)} />
        </Show>
      </button>
      <Show when={props.caption}><figcaption>{props.caption}</figcaption></Show>
    </figure>
  );
}
