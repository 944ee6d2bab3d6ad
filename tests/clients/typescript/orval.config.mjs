// DESCRIBED is the file of the description, ADDRESS where the service is.
export default {
  stillpipe: {
    input: { target: process.env.DESCRIBED },
    output: { target: "orval.ts", client: "fetch", mode: "single", baseUrl: process.env.ADDRESS },
  },
};
