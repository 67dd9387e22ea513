/**
 * A list whose entries stay drawn while their ids stay: what a hand is typing or pressing in
 * one is not lost when the book changes around it.
 */
import { createMemo, For, type Accessor, type JSX } from 'solid-js';

export function ById<T extends { readonly id: string }>(props: {
  each: readonly T[];
  fallback?: JSX.Element;
  children: (item: Accessor<T>, index: Accessor<number>) => JSX.Element;
}): JSX.Element {
  const found = createMemo(() => new Map(props.each.map((x) => [x.id, x] as const)));
  return (
    <For each={props.each.map((x) => x.id)} fallback={props.fallback}>
      {(id, index) => {
        // While an entry goes away its parts may be asked once more: they get it as it was.
        let last = found().get(id)!;
        return props.children(() => (last = found().get(id) ?? last), index);
      }}
    </For>
  );
}
