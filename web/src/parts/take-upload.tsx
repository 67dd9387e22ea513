/** Sending takes and drawings in layers, for a pick or for none yet. */
import { createSignal, Show, type JSX } from 'solid-js';
import { uploadTake } from '../api.js';
import { FileButton } from './file-button.js';
import { whileSending } from './while-sending.js';

export function TakeUpload(props: { pick: string | null }): JSX.Element {
  const [share, setShare] = createSignal<number | null>(null);
  const send = async (files: FileList | null): Promise<void> => {
    // The list is emptied with the field, while the first is still under way.
    for (const f of [...(files ?? [])]) {
      setShare(0);
      await whileSending(() => uploadTake(f, props.pick, setShare));
    }
    setShare(null);
  };
  // The layers of one drawing, in the order of their names; the first makes the take.
  const sendLayers = async (files: FileList | null): Promise<void> => {
    const order = new Intl.Collator('en', { numeric: true });
    let take = 'new';
    for (const f of [...(files ?? [])].sort((a, b) => order.compare(a.name, b.name))) {
      setShare(0);
      const layer = take,
        made = await whileSending(() => uploadTake(f, props.pick, setShare, layer));
      if (made === null) break;
      take = made.id;
    }
    setShare(null);
  };
  return (
    <p class="controls">
      <FileButton label="Add a take" accept="video/*,image/*" multiple onFiles={send} />
      <FileButton label="Add a drawing in layers" accept="image/png,image/tiff" multiple onFiles={sendLayers} />
      <Show when={share() !== null}>
        <progress max={1} value={share()!} aria-label="sending the take" />{' '}
        <span class="pencil-note">{share()! < 1 ? `sending, ${Math.round(100 * share()!)} %` : 'looking at it'}</span>
      </Show>
    </p>
  );
}
