# Two stages: what is installed with a compiler at hand, and what runs, without root.
FROM python:3.11-slim AS build
WORKDIR /build
ENV PIP_NO_CACHE_DIR=1 PIP_DISABLE_PIP_VERSION_CHECK=1
RUN python -m venv /opt/stillpipe
COPY deploy/requirements.txt deploy/
RUN /opt/stillpipe/bin/pip install --require-hashes --requirement deploy/requirements.txt
COPY pyproject.toml README.md ./
COPY openapi openapi
COPY service service
RUN /opt/stillpipe/bin/pip install --no-deps --no-build-isolation . \
    && /opt/stillpipe/bin/pip uninstall --yes setuptools

FROM python:3.11-slim
COPY --from=build /opt/stillpipe /opt/stillpipe
COPY deploy/gunicorn.conf.py /srv/stillpipe/gunicorn.conf.py
WORKDIR /srv/stillpipe
# Everything that is written goes below /tmp, a tmpfs where the root is read-only.
ENV PATH=/opt/stillpipe/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    NUMBA_CACHE_DIR=/tmp/numba \
    MPLCONFIGDIR=/tmp/matplotlib \
    STILLPIPE_BIND=0.0.0.0:8000
USER 10001:10001
EXPOSE 8000
HEALTHCHECK --interval=30s --timeout=5s --start-period=60s --retries=3 \
    CMD ["python", "-c", "import urllib.request; urllib.request.urlopen('http://127.0.0.1:8000/readyz', timeout=4)"]
CMD ["gunicorn", "--config", "gunicorn.conf.py"]
