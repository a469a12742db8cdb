// Starts the reference page on the service's own description.

window.SwaggerUIBundle({ url: "/api/v1/openapi.json", dom_id: "#reference", deepLinking: true });
