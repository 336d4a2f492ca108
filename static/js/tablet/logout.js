// Lets logging out take back the token by which this tablet sends without a login: <form data-logout> names the
// device then. What waits stays here, and leaves after the next login.
const NAME = "takebook";
const form = document.querySelector("[data-logout]");

// Resolves to the tablet's database, or to null where there is none: none is made here.
const opened = () =>
  new Promise((resolve) => {
    const request = indexedDB.open(NAME);
    request.onupgradeneeded = () => request.transaction.abort();
    request.onerror = () => resolve(null);
    request.onsuccess = () => resolve(request.result);
  });

const nameDevice = (database) => {
  const request = database.transaction("meta").objectStore("meta").get("device");
  request.onsuccess = () => {
    database.close();
    if (!request.result) return;
    const field = document.createElement("input");
    Object.assign(field, { type: "hidden", name: "device", value: request.result.value });
    form.append(field);
  };
};

// Where the browser keeps nothing there is no token either.
if (form) opened().then((database) => database?.objectStoreNames.contains("meta") && nameDevice(database), () => {});
