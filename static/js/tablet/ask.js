// Asks the server's interface for JSON: {status, data}; status 0 where no answer came.
import { csrfToken } from "./csrf.js";

const GIVE_UP_MS = 15000;

export const ask = async (url, { method = "GET", body = null, token = "", tag = "", credentials = "same-origin" } = {}) => {
  const headers = {};
  if (body !== null) headers["Content-Type"] = "application/json";
  if (method !== "GET") headers["X-CSRFToken"] = csrfToken();
  if (token) headers.Authorization = `Bearer ${token}`;
  if (tag) headers["If-None-Match"] = `"${tag}"`;
  try {
    const answer = await fetch(url, {
      method,
      headers,
      body: body === null ? undefined : JSON.stringify(body),
      credentials,
      redirect: "manual",
      cache: "no-store",
      signal: AbortSignal.timeout(GIVE_UP_MS),
    });
    const data = await answer.json().catch(() => ({}));
    return { status: answer.status, data, retryAfter: Number(answer.headers.get("Retry-After")) || 0 };
  } catch {
    return { status: 0, data: {}, retryAfter: 0 };
  }
};
