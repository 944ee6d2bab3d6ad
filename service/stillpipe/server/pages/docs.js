"use strict";

SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#description",
  deepLinking: true,
  validatorUrl: null,
  tryItOutEnabled: true,
  defaultModelsExpandDepth: 0,
});
