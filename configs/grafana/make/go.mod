module undersheet/configs/grafana/make

go 1.26.0

require (
	github.com/grafana/grafana-foundation-sdk/go v0.0.22
	github.com/stretchr/testify v1.12.1
)

require go.yaml.in/yaml/v3 v3.0.5 // indirect
