/** How a phone comes in: the code to scan, and who is in. At the computer only. */
import { createSignal, onCleanup, onMount, Show, type JSX } from 'solid-js';
import type { PhoneInvitation } from '../../../src/server/api-types.js';
import { forgetPhones, newPhoneCode, phoneInvitation } from '../api.js';
import { Newest } from '../newest.js';

export function PhonePart(): JSX.Element {
  const [now, setNow] = createSignal<PhoneInvitation | null>(null);
  /** The service has answered: that no phone may come in is not said before. */
  const [asked, setAsked] = createSignal(false);
  // Answers may overtake each other: another code that was asked for is never followed by the one before.
  const answers = new Newest();
  const show = async (asked: Promise<PhoneInvitation | null>): Promise<void> => {
    const question = answers.ask();
    const answer = await asked.catch(() => null);
    if (answer !== null && answers.takes(question)) setNow(answer);
    setAsked(true);
  };
  // A code lasts ten minutes and one phone: what is shown is asked for again while the page is open.
  let timer: ReturnType<typeof setInterval> | undefined;
  let left = false;
  onMount(() => {
    void show(phoneInvitation()).then(() => {
      if (now() !== null && !left) timer = setInterval(() => void show(phoneInvitation()), 5000);
    });
  });
  onCleanup(() => {
    left = true;
    clearInterval(timer);
  });
  const minutes = () => Math.max(1, Math.round((now()!.until - Date.now()) / 60_000));
  return (
    <details class="phone-part">
      <summary>On a phone</summary>
      <Show
        when={now()}
        fallback={
          <Show when={asked()}>
            <p class="how">
              To use this page on a phone at the set, start the workbench with <code>platewright serve --lan</code>, in
              a network that you trust.
            </p>
          </Show>
        }
      >
        {(i) => (
          <div class="invite">
            <img
              src={`data:image/svg+xml;utf8,${encodeURIComponent(i().svg)}`}
              alt={`code to scan for ${i().address}`}
              width="180"
              height="180"
            />
            <div>
              <p>
                Scan this with a phone on the same network, or open <strong>{i().address}</strong> on it and type{' '}
                <strong class="pair-code">
                  {i().code.slice(0, 4)} {i().code.slice(4)}
                </strong>
                . Good for one phone and {minutes()} min.
              </p>
              <p class="how">
                The phone warns that nobody vouches for the certificate. Its SHA-256 has to be{' '}
                <span class="fingerprint">{i().fingerprint}</span>. A phone may plan the day, send takes, give them to
                picks, have them judged and tried, and read the brief: nothing else.
              </p>
              <p class="controls">
                <span>
                  {i().phones === 0
                    ? 'no phone is in'
                    : i().phones === 1
                      ? 'one phone is in'
                      : `${i().phones} phones are in`}
                </span>
                <button onClick={() => void show(newPhoneCode())}>Another code</button>
                <button disabled={i().phones === 0} onClick={() => void show(forgetPhones())}>
                  Send all phones away
                </button>
              </p>
            </div>
          </div>
        )}
      </Show>
    </details>
  );
}
