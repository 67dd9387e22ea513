/** Sending takes and drawings in layers, for a pick or for none yet. */
import { createSignal, Show, type JSX } from 'solid-js';
import { uploadTake } from '../api.js';
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
      <label class="file">
        Add a take
        <input
          type="file"
          accept="video/*,image/*"
          multiple
          onChange={(e) => {
            void send(e.currentTarget.files);
            e.currentTarget.value = '';
          }}
        />
      </label>
      <label class="file">
        Add a drawing in layers
        <input
          type="file"
          accept="image/png,image/tiff"
          multiple
          onChange={(e) => {
            void sendLayers(e.currentTarget.files);
            e.currentTarget.value = '';
          }}
        />
      </label>
      <Show when={share() !== null}>
        <progress max={1} value={share()!} aria-label="sending the take" />{' '}
        <span class="pencil-note">{share()! < 1 ? `sending, ${Math.round(100 * share()!)} %` : 'looking at it'}</span>
      </Show>
    </p>
  );
}
