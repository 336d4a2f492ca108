// Keeps the screen awake during a round, where the browser allows it.
export const stayAwake = () => {
  if (!("wakeLock" in navigator)) return;
  const ask = () => {
    if (document.visibilityState === "visible") navigator.wakeLock.request("screen").catch(() => {});
  };
  document.addEventListener("visibilitychange", ask);
  ask();
};
