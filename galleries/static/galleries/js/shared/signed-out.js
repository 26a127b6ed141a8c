// Where one comes to after signing out: nothing that was kept for the time without a network stays on this device.
globalThis.caches?.delete("sheet");
