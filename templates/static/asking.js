// Asks the server, and says in words if it refuses or does not answer.

const TIMEOUT_MS = 15000;

// `status` is 0 where there was no answer.
export class Refusal extends Error {
  constructor(problem, status) {
    super(problem.detail || "The server could not do this.");
    this.status = status;
  }
}

export async function post(url, body) {
  let answer;
  try {
    answer = await fetch(url, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(TIMEOUT_MS),
    });
  } catch {
    throw new Refusal({ detail: "The server does not answer." }, 0);
  }
  const heard = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refusal(heard, answer.status);
  return heard;
}
