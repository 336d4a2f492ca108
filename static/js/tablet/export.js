// Writes what waits on this tablet into a file that `manage.py import_marks` reads: the last resort.
export const waitingFile = async (store) => {
  const records = await store.waiting(1_000_000);
  const who = await store.get("who");
  const file = {
    takebook: "waiting marks",
    v: 1,
    device: await store.device(),
    exported_at: new Date().toISOString(),
    skew_ms: await store.get("skew_ms"),
    account: who?.account ?? "",
    parts: records.map(({ noun, part }) => ({ noun, part })),
  };
  return new Blob([JSON.stringify(file)], { type: "application/json" });
};

export const saveWaiting = async (store) => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await waitingFile(store));
  link.download = `takebook-waiting-${new Date().toISOString().slice(0, 10)}.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
};
