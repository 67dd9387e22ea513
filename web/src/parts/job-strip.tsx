/** What is being worked on, at the foot of the book: progress, stop, go on. */
import { createSignal, Show, type JSX } from 'solid-js';
import { ById } from './by-id.js';
import { book, jobs, resumeJob, stopJob } from '../api.js';

const WORDS: Record<string, string> = { scan: 'Finding shots', measure: 'Measuring', brief: 'Writing the brief', verdict: 'Judging', outline: 'Outlining', quick: 'A quick join of', join: 'Building the join', inspect: 'Inspecting', day: 'Planning the day', deliver: 'Delivering', reveal: 'Making the reveal' };

export function jobWord(kind: string): string {
  return WORDS[kind] ?? kind;
}

/** What a job works on, by the name that a person gave it. */
function subjectTitle(id: string): string {
  const b = book();
  return [...(b?.films ?? []), ...(b?.picks ?? []), ...(b?.takes ?? [])].find((d) => d.id === id)?.title ?? id;
}

/** Failed and stopped work that was read and put away; it comes back with the next page load. */
const [away, setAway] = createSignal<ReadonlySet<string>>(new Set());

export function JobStrip(): JSX.Element {
  const shown = () => {
    const list = jobs();
    const active = list.filter((j) => j.state === 'running' || j.state === 'waiting');
    const failed = list.filter((j) => (j.state === 'failed' || j.state === 'stopped') && !away().has(`${j.id} ${j.state}`) && !list.some((o) => o.kind === j.kind && o.subject === j.subject && o.createdMs > j.createdMs)).slice(0, 3);
    return [...active, ...failed];
  };
  return (
    <Show when={shown().length > 0}>
      <aside class="foot" aria-label="Work in hand" aria-live="polite">
        <ById each={shown()}>{(j) => (
          <div class="job" data-state={j().state}>
            <span class="what">{jobWord(j().kind)} {subjectTitle(j().subject)}</span>
            <Show when={j().state === 'running'}>
              <progress max={Math.max(1, j().total)} value={j().done} aria-label={`${jobWord(j().kind)} ${subjectTitle(j().subject)}`} />
              <span class="stage">{j().stage}{j().total > 0 ? ` · ${Math.floor((100 * j().done) / j().total)} %` : ''}</span>
              <Show when={!book()?.phone}><button aria-disabled={j().stopping} onClick={() => { if (!j().stopping) void stopJob(j().id); }}>{j().stopping ? 'Stopping …' : 'Stop'}</button></Show>
            </Show>
            <Show when={j().state === 'waiting'}><span class="stage">waits its turn</span><Show when={!book()?.phone}><button onClick={() => void stopJob(j().id)}>Stop</button></Show></Show>
            <Show when={j().state === 'failed'}><span class="stage">{j().error}</span><Show when={!book()?.phone}><button onClick={() => void resumeJob(j().id)}>Try again</button></Show></Show>
            <Show when={j().state === 'stopped'}><span class="stage">stopped at {j().done} of {j().total}</span><Show when={!book()?.phone}><button onClick={() => void resumeJob(j().id)}>Go on</button></Show></Show>
            <Show when={j().state === 'failed' || j().state === 'stopped'}><button onClick={() => setAway(new Set([...away(), `${j().id} ${j().state}`]))}>Put away</button></Show>
          </div>
        )}</ById>
      </aside>
    </Show>
  );
}
