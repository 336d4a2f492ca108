// What waits on this tablet under this address, read only: {marks, others}. The store is not made where it is missing.
const openIfThere = () =>
  new Promise((resolve, reject) => {
    const request = indexedDB.open("takebook");
    request.onupgradeneeded = () => request.transaction.abort(); // there is none: leave none behind
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => (request.error?.name === "AbortError" ? resolve(null) : reject(request.error));
  });

const all = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

export const whatWaits = async () => {
  const database = await openIfThere();
  if (!database) return { marks: 0, others: 0 };
  try {
    if (!database.objectStoreNames.contains("parts")) return { marks: 0, others: 0 };
    const parts = await all(database.transaction("parts").objectStore("parts").index("waits").getAll());
    const marks = parts.filter(({ noun }) => noun === "marks").length;
    return { marks, others: parts.length - marks };
  } finally {
    database.close();
  }
};
