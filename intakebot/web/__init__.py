"""The pages: customer, front desk, bench, sign-in. The only importer of Flask. Start with `app.create_app`."""
