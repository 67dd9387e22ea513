/** What is being worked on, at the foot of the book: progress, stop, go on. */
import { createMemo, createSignal, Show, type JSX } from 'solid-js';
import type { JobRecord } from '../../../src/jobs/job-store.js';
import { turnOf } from '../../../src/jobs/job-turn.js';
import { plainly } from '../format.js';
import { ById } from './by-id.js';
import { keepList, keptList } from './kept-list.js';
import { book, jobs, resumeJob, stopJob } from '../api.js';

const WORDS: Record<string, string> = {
  scan: 'Finding shots',
  measure: 'Measuring',
  brief: 'Writing the brief',
  verdict: 'Judging',
  outline: 'Outlining',
  quick: 'A quick join of',
  join: 'Building the join',
  inspect: 'Inspecting',
  day: 'Planning the day',
  deliver: 'Delivering',
  reveal: 'Making the reveal',
};

/** What a kind of job does, in words. */
function jobWord(kind: string): string {
  return WORDS[kind] ?? kind;
}

/** What a job works on: the film, pick or take; undefined where it is none, or is out of the book. */
function subjectOf(id: string): { readonly title: string } | undefined {
  const b = book();
  return [...(b?.films ?? []), ...(b?.picks ?? []), ...(b?.takes ?? [])].find((d) => d.id === id);
}

/** What a job works on, by the name that a person gave it. */
function subjectTitle(id: string): string {
  return subjectOf(id)?.title ?? id;
}

const AWAY = 'put-away';

const halted = (j: JobRecord): boolean => j.state === 'failed' || j.state === 'stopped';

function told(j: JobRecord): string {
  switch (j.state) {
    case 'waiting':
      return 'waits its turn';
    case 'failed':
      return j.error === undefined || j.error === null ? 'failed' : plainly(j.error);
    case 'stopped':
      return j.total > 0 && j.done > 0
        ? `stopped at ${Math.floor((100 * j.done) / j.total)} %`
        : 'stopped before it had begun';
    default:
      return `${j.stage}${j.total > 0 ? ` · ${Math.floor((100 * j.done) / j.total)} %` : ''}`;
  }
}

/** Failed and stopped work that was read and put away: `<job> <state>`. It stays so in this browser. */
const [away, setAway] = createSignal<ReadonlySet<string>>(new Set(keptList(AWAY)));

function putAway(j: JobRecord): void {
  setAway(new Set([...away(), `${j.id} ${j.state}`]));
  keepList(AWAY, [...away()]);
}

/** What the strip shows: work in hand first, then the last three that failed or were stopped and not put away. */
function shownJobs(): JobRecord[] {
  const list = jobs();
  // What runs first, then what waits in its turn.
  const active = list
    .filter((j) => j.state === 'running' || j.state === 'waiting')
    .sort(
      (a, b) =>
        Number(b.state === 'running') - Number(a.state === 'running') ||
        turnOf(a.kind) - turnOf(b.kind) ||
        a.createdMs - b.createdMs,
    );
  const failed = list
    .filter(
      (j) =>
        (j.state === 'failed' || j.state === 'stopped') &&
        !away().has(`${j.id} ${j.state}`) &&
        // Of what was taken out of the book there is nothing to be gone on with.
        (j.subject === '' || subjectOf(j.subject) !== undefined) &&
        !list.some((o) => o.kind === j.kind && o.subject === j.subject && o.createdMs > j.createdMs),
    )
    .slice(0, 3);
  return [...active, ...failed];
}

/** One job: what it works on, how far it is, and the buttons that stop it or let it go on. */
function JobRow(props: { readonly job: JobRecord }): JSX.Element {
  return (
    <div class="job" data-state={props.job.state}>
      <span class="what">
        {jobWord(props.job.kind)} {subjectTitle(props.job.subject)}
      </span>
      <Show when={props.job.state === 'running'}>
        <progress
          max={Math.max(1, props.job.total)}
          value={props.job.done}
          aria-label={`${jobWord(props.job.kind)} ${subjectTitle(props.job.subject)}`}
        />
      </Show>
      <span class="stage">{told(props.job)}</span>
      {/* One button through all that becomes of a job, so that the keyboard stays on it. */}
      <Show when={!book()?.phone}>
        <button
          aria-disabled={props.job.stopping}
          onClick={() => {
            if (halted(props.job)) void resumeJob(props.job.id);
            else if (!props.job.stopping) void stopJob(props.job.id);
          }}
        >
          {props.job.stopping
            ? 'Stopping …'
            : props.job.state === 'failed'
              ? 'Try again'
              : props.job.state === 'stopped'
                ? 'Go on'
                : 'Stop'}
        </button>
      </Show>
      <Show when={halted(props.job)}>
        <button onClick={() => putAway(props.job)}>Put away</button>
      </Show>
    </div>
  );
}

/** Jobs that run, wait, failed or were stopped, with how to stop or go on. */
export function JobStrip(): JSX.Element {
  // Read aloud is only what becomes of the newest job, not every step of its bar.
  const spoken = createMemo(() => {
    const j = jobs()[0];
    return j === undefined
      ? ''
      : `${jobWord(j.kind)} ${subjectTitle(j.subject)}: ` +
          (j.state === 'running' ? 'under way' : j.state === 'done' ? 'done' : told(j));
  });
  return (
    <>
      <p class="unseen" role="status">
        {spoken()}
      </p>
      <Show when={shownJobs().length > 0}>
        <aside class="foot" aria-label="Work in hand">
          <ById each={shownJobs()}>{(j) => <JobRow job={j()} />}</ById>
        </aside>
      </Show>
    </>
  );
}
