/** A button that asks for files of this machine. The same file may be chosen again, since it is let go of at once. */
import type { JSX } from 'solid-js';

/** @param props.accept kinds of files, as the `accept` of HTML's file input has it */
export function FileButton(props: {
  readonly label: string;
  readonly accept: string;
  readonly multiple?: boolean;
  readonly onFiles: (files: FileList | null) => Promise<void>;
}): JSX.Element {
  return (
    <label class="file">
      {props.label}
      <input
        type="file"
        accept={props.accept}
        multiple={props.multiple ?? false}
        onChange={(e) => {
          void props.onFiles(e.currentTarget.files);
          e.currentTarget.value = '';
        }}
      />
    </label>
  );
}
