// Small things that belong to the browser: theme and address.
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.page = {
  switch_theme: function (clicks, theme) {
    if (!clicks) { return window.dash_clientside.no_update; }
    return theme === "dark" ? "light" : "dark";
  },
  apply_theme: function (theme) {
    document.documentElement.dataset.theme = theme || "light";
    return theme === "dark" ? "Light" : "Dark";
  },
  // Puts a query into the address bar without drawing the area anew.
  keep_address: function (query) {
    if (query !== undefined && query !== null) {
      window.history.replaceState(null, "", window.location.pathname + query);
    }
    return window.dash_clientside.no_update;
  }
};
