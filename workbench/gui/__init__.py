"""The screens: views that subscribe to the models of `workbench.models` and decide nothing."""
