window.addEventListener("load", function () {
  window.SwaggerUIBundle({
    url: "/openapi.json",
    dom_id: "#docs",
    deepLinking: true,
    validatorUrl: null,
    docExpansion: "list",
  });
});
